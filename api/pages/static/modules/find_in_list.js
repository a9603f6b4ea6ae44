// Narrows a long list of ticks to the names that hold what is typed. Ticked ones always stay.
const finder = document.querySelector("#finder");
const field = document.querySelector("#find");
const said = document.querySelector("#find-said");
const items = [...document.querySelectorAll("#find-in label")];

if (finder && items.length > 12) {
  finder.hidden = false;
  field.addEventListener("input", () => {
    const sought = field.value.trim().toLocaleLowerCase();
    for (const item of items) {
      const ticked = item.querySelector("input").checked;
      item.hidden = !ticked && !item.textContent.toLocaleLowerCase().includes(sought);
    }
    const count = items.filter((item) => !item.hidden).length;
    const words = count === 1 ? finder.dataset.saidOne : finder.dataset.said;
    said.textContent = sought ? words.replace("{count}", String(count)) : "";
  });
  field.addEventListener("keydown", (event) => {
    if (event.key === "Enter") event.preventDefault(); // looking for a name is not keeping the roster
  });
}
