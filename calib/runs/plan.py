"""Which column of a file feeds which column of a run, settled once for the whole table."""

from __future__ import annotations

from dataclasses import dataclass

from calib.runs.cells import is_empty
from calib.runs.columns import COLUMNS
from calib.runs.grid import Block, Grid, Head, column_letters
from calib.runs.headers import Heading, clean, renamed
from calib.runs.model import CellValue


@dataclass(frozen=True, slots=True)
class Plan:
    """Known columns by name with the places that feed them, and the columns carried through.

    ``label_given`` tells whether the label's own heading was used (so that labels must be unique),
    ``headed`` how many cells the row of headings has, ``width`` how many the longest row has.
    """

    known: dict[str, list[tuple[int, Heading]]]
    extra: dict[str, int]
    headed: int
    width: int
    label_given: bool
    notes: tuple[str, ...]

    @property
    def columns(self) -> tuple[str, ...]:
        """The known columns in the order of the file."""
        first = {name: places[0][0] for name, places in self.known.items()}
        return tuple(sorted(first, key=lambda name: first[name]))


def make_plan(grid: Grid, head: Head) -> Plan:
    """Settle which column feeds what."""
    width = max((len(row) for row in grid.rows[head.row :]), default=0)
    known: dict[str, list[tuple[int, Heading]]] = {}
    extra: dict[str, int] = {}
    notes: list[str] = []
    headings = list(head.headings) + [Heading("")] * (width - len(head.headings))
    for index, heading in enumerate(headings):
        if heading.known:
            known.setdefault(heading.name, []).append((index, heading))
        elif clean(heading.text) or _has_content(grid, head, index):
            extra[_free_name(heading.text, index, extra)] = index
    for name in list(known):
        _settle_several(grid, name, known, extra, notes)
    extra = dict(sorted(extra.items(), key=lambda item: item[1]))
    used = {index for places in known.values() for index, _ in places}
    notes += _heading_notes([h for i, h in enumerate(headings) if i in used or not h.known])
    unnamed = [name for name in extra if name.startswith("(column ")]
    if unnamed:
        notes.append(f"{', '.join(unnamed)}: no heading; carried through untouched")
    label = known.get("run")
    label_given = label is not None and clean(label[0][1].text).casefold() in (
        "run",
        "label",
        "run label",
        "row label",
    )
    return Plan(known, extra, len(head.headings), width, label_given, tuple(notes))


def _heading_notes(headings: list[Heading]) -> list[str]:
    """Plain renamings in one line; whatever was assumed or converted in a line of its own."""
    plain = [h for h in headings if h.known and h.note == renamed(h.text, h.name)]
    notes = [h.note for h in headings if h.note and h not in plain]
    read = ", ".join(f"{h.text.strip()!r} as {h.name}" for h in plain if h.note)
    return [f"headings read: {read}", *notes] if read else notes


def _free_name(text: str, index: int, taken: dict[str, int]) -> str:
    """The heading as written; told apart by its column where it stands twice or says nothing."""
    name = text if clean(text) else f"(column {column_letters(index)})"
    return name if name not in taken else f"{name} (column {column_letters(index)})"


def _has_content(grid: Grid, head: Head, index: int) -> bool:
    rows = grid.rows[head.first_below :]
    return any(index < len(row) and not is_empty(row[index]) for row in rows)


def _settle_several(
    grid: Grid,
    name: str,
    known: dict[str, list[tuple[int, Heading]]],
    extra: dict[str, int],
    notes: list[str],
) -> None:
    """Two headings for one column: of texts one is chosen, numbers are compared row by row."""
    places = known[name]
    if len(places) == 1:
        return
    listed = ", ".join(f"{h.text!r} ({column_letters(i)})" for i, h in places)
    if name not in COLUMNS or COLUMNS[name].kind == "number":
        notes.append(f"{listed} all mean {name}: a row is used where they do not contradict")
        return
    literal = [place for place in places if clean(place[1].text).casefold() == name]
    if len(literal) > 1:
        notes.append(f"{listed} all mean {name}: a row is used where they do not contradict")
        known[name] = literal
    else:
        known[name] = literal or places[:1]
        chosen = known[name][0][1].text
        notes.append(f"{listed} could all mean {name}: {chosen!r} taken, the rest carried through")
    kept = {index for index, _ in known[name]}
    for index, heading in places:
        if index not in kept:
            extra[_free_name(heading.text, index, extra)] = index


# --- merged cells -------------------------------------------------------------------------------


def fill_merged(grid: Grid, head: Head, plan: Plan) -> tuple[set[int], list[str]]:
    """Give every cell of a merged block its value, and say so.

    Down a column a merged value holds for all its rows. Across columns it holds only where they
    have the same quantity (one temperature for both liquids); else it stays in the first.

    Returns:
        rows whose label was filled in from above, and notes.
    """
    by_index = {i: h for places in plan.known.values() for i, h in places}
    labels = {i for i, _ in plan.known.get("run", ())}
    shared: set[int] = set()
    notes: list[str] = []
    for block in grid.merged:
        top, left, bottom, right = block
        bottom = min(bottom, len(grid.rows) - 1)
        if top < head.first_below or left >= plan.width or is_empty(grid.cell(top, left)):
            continue
        columns = [c for c in range(left, min(right, plan.width - 1) + 1) if c in by_index]
        columns = [c for c in columns if _same_kind(by_index.get(left), by_index[c])] or [left]
        for row in range(top, bottom + 1):
            for column in columns:
                _put(grid, row, column, grid.cell(top, left))
        shared.update(range(top + 1, bottom + 1) if labels & set(columns) else ())
        notes.append(_merged_note(grid, block))
    return shared, notes


def _same_kind(first: Heading | None, other: Heading) -> bool:
    if first is None or first.column is None or other.column is None:
        return first is other
    if first.uncertainty != other.uncertainty:
        return False
    one, two = COLUMNS[first.column], COLUMNS[other.column]
    sides = {"in_cup", "added"}
    same_text = one.name in sides and two.name in sides
    both = {one.quantity, two.quantity}
    return one is two or same_text or (len(both) == 1 and both <= {"temperature", "concentration"})


def _put(grid: Grid, row: int, column: int, value: CellValue) -> None:
    cells = grid.rows[row]
    cells.extend([None] * (column + 1 - len(cells)))
    if is_empty(cells[column]):
        cells[column] = value


def _merged_note(grid: Grid, block: Block) -> str:
    top, left, bottom, right = block
    first = f"{column_letters(left)}{top + 1}"
    last = f"{column_letters(right)}{bottom + 1}"
    return f"merged cells {first}:{last}: their value holds for every row they span"
