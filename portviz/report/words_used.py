"""The words of the trade that a report uses, in plain ones."""

from __future__ import annotations

import re

from portviz.report.content import Section, TextTable

#: A word, what it means, and what shows in a report's tables and headings that it is used.
_WORDS = (
    ("lift", "how far the valve stands open", "lift"),
    ("L/D", "lift over the diameter of the valve's head", "L/D"),
    (
        "curtain",
        "the ring-shaped surface between seat and open valve that the air passes; its area is π x head diameter x lift",
        "curtain|discharge",
    ),
    (
        "gap, throat passage",
        "the narrowest ways for the air: between seat and valve's face, and elsewhere, as behind the head or round the "
        "stem",
        "gap",
    ),
    ("discharge coefficient", "what passes, over what could pass the curtain at best: 1 would be no loss", "discharge"),
    ("flow-area coefficient", "the same over the narrowest passage", "flow-area"),
    (
        "closure",
        "the bench's flow over the flow that gap and velocities account for; below 1, since the air is slower at the "
        "walls; it should change little from lift to lift",
        "closure",
    ),
    ("uniformity", "1 where the air is equally fast all round the valve", "uniformity"),
    (
        "bias, leans",
        "how far the flow is drawn to one side, and to which: 0 even, 1 all at one station; “bias moved toward” is how "
        "far and where it moved, * where that is shown",
        "bias",
    ),
    ("share", "a station's part of the whole flow", "share"),
    (
        "known from",
        "what the ± rests on: the stated accuracy of the gauge, or the scatter of repeated readings",
        "known from",
    ),
    ("interference angle", "by how much the angles of seat and valve's face differ", "interference"),
    (
        "mean effective area",
        "the area that would pass as much air without any loss, averaged over the valve's motion; the “event mean "
        "area” of a design is the plain geometric one, and larger",
        "effective area",
    ),
    (
        "mean inlet Mach index",
        "how fast the air must go in the valve on average, over the speed of sound, for the piston to be followed; an "
        "engine breathes worse above 0.5 to 0.6 (from memory)",
        "Mach index",
    ),
    (
        "turning (swirl, tumble)",
        "an indicator of how the jets would turn the charge about the cylinder's axis and across it, if they left "
        "straight along the seat's angle, from this valve alone; walls, piston and other valves change it",
        "swirl",
    ),
)


def words_used(sections: tuple[Section, ...], tables: tuple[TextTable, ...]) -> Section | None:
    """Return the section that explains the words which tables and headings use; None where none is."""
    said = [section.title for section in sections]
    for table in (*tables, *(each for section in sections for each in section.tables)):
        said += [table.title, *table.columns, *(row[0] for row in table.rows)]
    rows = tuple((word, meaning) for word, meaning, sign in _WORDS if re.search(sign, " ".join(said)))
    if not rows:
        return None
    table = TextTable("Words of the trade", ("word", "what it means here"), rows, words=frozenset({0, 1}))
    return Section("words", "Words used", (), (), (table,))
