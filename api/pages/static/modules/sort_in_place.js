// Sorts a table where it stands: follows a heading's link, and puts the table that comes back in
// place of this one. Without this module the link opens the same page, sorted.

document.addEventListener("click", async (event) => {
  const link = event.target instanceof Element && event.target.closest(".class thead a");
  if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
  event.preventDefault();
  const section = link.closest("section");
  const column = [...link.closest("tr").cells].indexOf(link.closest("th"));
  const answer = await fetch(link.href);
  const text = answer.ok ? await answer.text() : "";
  const found = new DOMParser().parseFromString(text, "text/html").getElementById(section.id);
  if (!found) {
    location.assign(link.href);
    return;
  }
  section.replaceWith(found);
  history.replaceState(null, "", link.href);
  found.querySelectorAll("thead a")[column]?.focus();
});
