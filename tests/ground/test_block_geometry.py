from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.farm.blocks import Block, parse_block, parse_position, position_name, row_letters, trim

blocks = st.builds(
    lambda top, left, across, down, short: Block(
        top=top, left=left, across=across, plugs=max((down - 1) * across + 1, down * across - short)
    ),
    st.integers(0, 40), st.integers(0, 40), st.integers(1, 8), st.integers(1, 8), st.integers(0, 7),
)  # fmt: skip
plugs = st.sampled_from([(1, 1), (2, 2), (1, 2), (3, 2)])


def test_positions_are_named_as_wells_of_a_microplate() -> None:
    # ANSI SLAS 4-2004: letters for rows from the top, numbers for columns from the left; the last of 96 is H12, of 384 P24.
    assert position_name((0, 0)) == "A1"
    assert position_name((7, 11)) == "H12"
    assert position_name((15, 23)) == "P24"
    assert [row_letters(r) for r in (25, 26, 27, 31, 51, 52)] == ["Z", "AA", "AB", "AF", "AZ", "BA"]


@given(st.integers(0, 59), st.integers(0, 98))
def test_a_position_reads_back(row: int, col: int) -> None:
    assert parse_position(position_name((row, col))) == (row, col)
    assert parse_position(f" {position_name((row, col)).lower()} ") == (row, col)


@pytest.mark.parametrize("text", ["", "A", "1", "A0", "4B", "A1B", "A-1", "AAA1"])
def test_what_is_no_position_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="is not a rack position"):
        parse_position(text)


@given(blocks, plugs)
def test_a_block_reads_back_at_the_same_positions(block: Block, plug: tuple[int, int]) -> None:
    again = parse_block(block.text(*plug), *plug)
    assert again.positions(*plug) == block.positions(*plug)
    assert again.plugs == block.plugs
    assert again.text(*plug) == block.text(*plug)


@given(blocks, plugs)
def test_a_block_holds_each_of_its_positions_once(block: Block, plug: tuple[int, int]) -> None:
    held = block.positions(*plug)
    assert len(held) == len(set(held)) == block.plugs * plug[0] * plug[1]
    corners = [min(block.plug_positions(i, *plug)) for i in range(block.plugs)]
    assert corners == sorted(corners)


@given(st.lists(blocks, min_size=1, max_size=3), st.integers(0, 200))
def test_plugs_leave_from_the_end(stand: list[Block], left: int) -> None:
    kept = trim(tuple(stand), left)
    total = sum(b.plugs for b in stand)
    assert sum(b.plugs for b in kept) == min(left, total)
    before = [p for b in stand for p in b.positions()]
    assert [p for b in kept for p in b.positions()] == before[: min(left, total)]


def test_trimming_by_hand() -> None:
    stand = (parse_block("A1:B4"), parse_block("D1:D3"))
    assert [b.text() for b in trim(stand, 9)] == ["A1:B4", "D1"]
    assert [b.text() for b in trim(stand, 8)] == ["A1:B4"]
    assert [b.text() for b in trim(stand, 6)] == ["A1:B4=6"]
    assert [b.text() for b in trim(stand, 3)] == ["A1:A3"]
    assert trim(stand, 0) == ()


@pytest.mark.parametrize(
    ("text", "plug", "words"),
    [
        ("A1-B2", (1, 1), "is not a block"),
        ("B2:A1", (1, 1), "ends before it begins"),
        ("B1:A3", (1, 1), "ends before it begins"),
        ("A1:C4", (2, 2), "does not hold whole plugs"),
        ("A1:C4=8", (1, 1), "do not end in its last row"),
        ("A1:C4=13", (1, 1), "do not end in its last row"),
        ("A1:A0", (1, 1), "is not a block"),
    ],
)
def test_what_is_no_block_is_refused_in_plain_words(text: str, plug: tuple[int, int], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        parse_block(text, *plug)


def test_large_plugs() -> None:
    block = parse_block("A1:D4=3", 2, 2)
    assert (block.across, block.plugs) == (2, 3)
    assert set(block.plug_positions(2, 2, 2)) == {(2, 0), (2, 1), (3, 0), (3, 1)}
    assert parse_block("C3", 2, 2).text(2, 2) == "C3:D4"
