"""YAML 1.2 with places, and what is refused for being hostile."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reconcile.errors import InputError
from reconcile.marked_yaml import (
    DEEPEST,
    MOST_CHARACTERS,
    MOST_NODES,
    Listing,
    Mapping,
    Node,
    Scalar,
    read_yaml,
)


def scalars(node: Node) -> list[str]:
    match node:
        case Scalar():
            return [node.text]
        case Listing():
            return [text for item in node.items for text in scalars(item)]
        case Mapping():
            return [text for pair in node.entries for item in pair for text in scalars(item)]


@pytest.mark.parametrize("text", ["off", "no", "2:00", "1_000", "0o14", "022", "22.50", "+1", "y"])
def test_a_value_stays_the_text_that_was_written(text: str) -> None:
    # YAML 1.2.2, section 10.3 (core schema): `off` is no boolean and `2:00` no number; what YAML
    # 1.1 made of them is lost on the way, so nothing is made of them here.
    assert scalars(read_yaml(f"key: {text}", file="x")) == ["key", text]


@pytest.mark.parametrize("text", ["", "~", "null", "Null", "NULL"])
def test_the_core_schema_has_five_ways_to_write_nothing(text: str) -> None:
    # YAML 1.2.2, section 10.3.2, tag resolution: `null | Null | NULL | ~` and the empty scalar.
    document = read_yaml(f"key: {text}", file="x")
    assert isinstance(document, Mapping)
    value = document.entries[0][1]
    assert isinstance(value, Scalar)
    assert value.empty


def test_a_quoted_null_is_a_text() -> None:
    document = read_yaml("key: 'null'", file="x")
    assert isinstance(document, Mapping)
    value = document.entries[0][1]
    assert isinstance(value, Scalar)
    assert not value.empty


def test_every_node_knows_its_line_and_column() -> None:
    document = read_yaml("a: 1\nlist:\n  - {b: two}\n", file="x")
    assert isinstance(document, Mapping)
    key, value = document.entries[1]
    assert (key.line, key.column) == (2, 1)
    assert isinstance(value, Listing)
    assert (value.items[0].line, value.items[0].column) == (3, 5)


def test_a_named_part_may_be_used_again() -> None:
    text = "a: &part {reps: 5}\nb: *part\n"
    assert scalars(read_yaml(text, file="x")) == ["a", "reps", "5", "b", "reps", "5"]


BOMB = "\n".join(
    ["a: &a [x,x,x,x,x,x,x,x,x,x]"]
    + [f"{b}: &{b} [{','.join([f'*{a}'] * 10)}]" for a, b in zip("abcdefg", "bcdefgh", strict=True)]
)


@pytest.mark.parametrize(
    ("text", "code", "line", "column"),
    [
        pytest.param("a: [1,2", "yaml_syntax", 1, 8, id="unclosed list"),
        pytest.param("a: 'x", "yaml_syntax", 1, 6, id="unclosed quote"),
        pytest.param("a: 1\n\tb: 2", "yaml_syntax", 2, 1, id="tab for indentation"),
        pytest.param("a: b: c", "yaml_syntax", 1, 5, id="two colons"),
        pytest.param("x: 1\na: \x01", "yaml_syntax", 2, 4, id="control character"),
        pytest.param('"\\UFFFFFFFF"', "yaml_syntax", None, None, id="no such character"),
        pytest.param("", "empty", 1, 1, id="empty"),
        pytest.param("# only words\n", "empty", 1, 1, id="only a comment"),
        pytest.param("a: *x", "yaml_alias", 1, 4, id="unknown name"),
        pytest.param("a: &a [*a]", "yaml_alias", 1, 8, id="part of itself"),
        pytest.param("a: !!python/name:os.system x", "yaml_tag", 1, 4, id="tag"),
        pytest.param("a: 1\n---\nb: 2", "several_documents", 2, 1, id="two documents"),
        pytest.param("[" * 100_000, "too_deep", 1, DEEPEST + 1, id="deep list"),
        pytest.param("{a: " * 40_000, "too_deep", 1, 4 * DEEPEST - 2, id="deep mapping"),
        pytest.param("- " * 40_000, "too_deep", 1, 2 * DEEPEST + 1, id="deep block list"),
        pytest.param(BOMB, "too_large", 5, 8, id="alias bomb"),
        pytest.param(f"[{'1,' * MOST_NODES}]", "too_large", 1, 2 * MOST_NODES, id="many values"),
        pytest.param("x" * (MOST_CHARACTERS + 1), "too_large", None, None, id="long text"),
    ],
)
def test_what_is_no_sound_document_is_refused_at_its_place(
    text: str, code: str, line: int | None, column: int | None
) -> None:
    with pytest.raises(InputError) as caught:
        read_yaml(text, file="plan.yaml")
    error = caught.value
    assert (error.code, error.line, error.column) == (code, line, column)
    assert str(error).startswith("plan.yaml")


@settings(max_examples=300)
@given(
    st.text(
        alphabet=st.sampled_from("ab12: \n-[]{},&*!|>'\"%@`#?~\t\\x\u2028\x85\ufeff."), max_size=60
    )
)
def test_any_text_gives_a_document_or_an_error_of_the_family(text: str) -> None:
    try:
        read_yaml(text, file="plan.yaml")
    except InputError as error:
        assert error.mistakes
