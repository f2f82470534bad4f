"""Charts as SVG inside a page: no style attributes, names of their own, colours that follow the reader's theme.

A page whose content policy forbids styles in attributes needs them as classes; a reader who prefers dark pages needs
other colours of ink and paper. Both are made from what matplotlib writes.
"""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Iterable
from dataclasses import dataclass, field
from xml.etree import ElementTree

from portviz.report.content import Chart
from portviz.scene.colours import BACKGROUND, CUT, INK, VALVE
from portviz.scene.paper import THIN, in_style

#: Paper, ink and lines in the dark: what stands for them in charts and page.
DARK_PAPER, DARK_INK = "#17181a", "#e6e4df"
_DARK = {
    INK: DARK_INK,
    "#000000": DARK_INK,
    THIN: "#a3a7ad",
    BACKGROUND: "#212326",
    "#dedcd5": "#34363a",
    "#c9c5bb": "#41454d",
    CUT: "#4c4638",
    VALVE: "#4e5963",
}
#: A line or a word in the dark has at least this contrast with its paper (WCAG 2.2, 1.4.3).
_CONTRAST = 4.5
_SVG, _LINK = "{http://www.w3.org/2000/svg}", "{http://www.w3.org/1999/xlink}href"
_COLOUR = re.compile(r"#[0-9a-fA-F]{6}\b")
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_FONTS = '"DejaVu Sans",Verdana,Geneva,sans-serif'


@dataclass
class ChartStyles:
    """The classes and colours of all charts of a page.

    Parameters
    ----------
    classes : dict
        Name of the class of each style.
    colours : dict
        What each colour becomes in the dark.
    """

    classes: dict[str, str] = field(default_factory=dict)
    colours: dict[str, str] = field(default_factory=dict)

    def class_of(self, style: str, *, word: bool, fixed: bool = False) -> str:
        """Return a style's class: `word` where it is one of words, `fixed` where the dark is the same."""
        rules = [_rule(each) for each in _declarations(style)]
        if fixed:
            return self._named(";".join(f"{name}:{value}" for name, value in rules))
        for name, value in rules:
            stroke = name == "stroke" or word
            for colour in _COLOUR.findall(value) if name in ("fill", "stroke", "color") else ():
                self._learn(colour.lower(), stroke=stroke, fill=name == "fill")
        return self._named(";".join(f"{name}:{self._themed(name, value)}" for name, value in rules))

    def _named(self, text: str) -> str:
        return self.classes.setdefault(text, f"s{len(self.classes)}")

    def _learn(self, colour: str, *, stroke: bool, fill: bool) -> None:
        if colour == "#ffffff":
            return
        if colour in _DARK:
            self.colours[colour] = _DARK[colour]
        elif stroke and not fill:
            self.colours[colour] = lightened(colour)

    def _themed(self, name: str, value: str) -> str:
        if name not in ("fill", "stroke", "color"):
            return value

        def variable(match: re.Match[str]) -> str:
            colour = match[0].lower()
            # White faces are paper; white rims round dots stay, since they part a dot from its colour.
            if colour == "#ffffff":
                return "var(--paper)" if name == "fill" else colour
            return f"var(--c{colour[1:]},{colour})"

        return _COLOUR.sub(variable, value)

    def sheet(self) -> str:
        """Return the style sheet of all charts drawn so far."""
        light = ";".join(f"--c{colour[1:]}:{colour}" for colour in self.colours)
        dark = ";".join(f"--c{colour[1:]}:{other}" for colour, other in self.colours.items())
        rules = [f".chart .{name}{{{text}}}" for text, name in self.classes.items()]
        themed = [
            f":root{{{light}}}",
            f"@media screen and (prefers-color-scheme:dark){{:root{{{dark}}}.plate{{{light}}}}}",
        ]
        return "\n".join([*themed, *rules])


def _declarations(style: str) -> Iterable[str]:
    return filter(None, (each.strip() for each in style.split(";")))


def _rule(declaration: str) -> tuple[str, str]:
    name, _, value = declaration.partition(":")
    name, value = name.strip(), value.strip()
    if name == "font":
        # Any quoted family gives way to the page's own list, whose widths are alike.
        value = re.sub(r"(?<=px )['\"].*$", _FONTS, value)
    return name, value


def lightened(colour: str) -> str:
    """Return a colour mixed with white as far as it needs to be seen on dark paper.

    Examples
    --------
    >>> lightened("#f0f0f0"), lightened("#26282b") != "#26282b"
    ('#f0f0f0', True)
    """
    parts = [int(colour[place : place + 2], 16) for place in (1, 3, 5)]
    for step in range(21):
        mixed = [round(part + (255 - part) * step / 20.0) for part in parts]
        found = "#" + "".join(f"{part:02x}" for part in mixed)
        if contrast(found, DARK_PAPER) >= _CONTRAST:
            break
    return found


def contrast(one: str, other: str) -> float:
    """Return the contrast of two colours (WCAG 2.2, relative luminance).

    Examples
    --------
    >>> round(contrast("#000000", "#ffffff"), 3)
    21.0
    """
    lights = sorted((_luminance(one), _luminance(other)))
    return (lights[1] + 0.05) / (lights[0] + 0.05)


def _luminance(colour: str) -> float:
    parts = [int(colour[place : place + 2], 16) / 255.0 for place in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def draw_svg(chart: Chart) -> str:
    """Draw a chart and return what matplotlib writes of it, with words as words."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    made = io.StringIO()
    with (
        in_style(),
        mpl.rc_context({"svg.fonttype": "none", "svg.hashsalt": f"portviz-{chart.key}"}),
        warnings.catch_warnings(),
    ):
        # Signs that the font does not have are found in the reader's own.
        warnings.filterwarnings("ignore", r"Glyph \d+ .*missing from")
        # Saved as any figure is: figures for print would bring a style of their own, with glyphs for words.
        unnamed = {"Date": None, "Creator": None, "Format": None, "Type": None}
        Figure.savefig(chart.make(), made, format="svg", metadata=unnamed)
    return made.getvalue()


def chart_svg(chart: Chart, styles: ChartStyles) -> str:
    """Return a chart as an SVG element for a page, with title and description for who can't see it.

    Parameters
    ----------
    chart : Chart
    styles : ChartStyles
        Takes up the chart's styles.
    """
    return page_svg(draw_svg(chart), chart, styles)


def page_svg(drawn: str, chart: Chart, styles: ChartStyles) -> str:
    """Return what matplotlib has drawn as an element of a page; see `chart_svg`."""
    root = ElementTree.fromstring(_NOT_XML.sub("\ufffd", drawn))
    for parent in root.iter():
        for child in list(parent):
            if child.tag in (f"{_SVG}metadata", f"{_SVG}style") or not str(child.tag).startswith(_SVG):
                parent.remove(child)
    on_colours = False
    on_cells, gaps = _on_cells(root)
    for element in root.iter():
        element.tag = str(element.tag).removeprefix(_SVG)
        word = element.tag in ("text", "tspan")
        style = element.attrib.pop("style", "").replace("url(#", f"url(#{chart.key}-")
        style += "".join(f";{name}:{element.attrib.pop(name)}" for name in ("fill", "stroke") if name in element.attrib)
        fixed = element in on_cells
        if element in gaps:
            style = re.sub(r"stroke:\s*#ffffff", "stroke:var(--paper)", style)
        on_colours |= word and not fixed and bool(re.search(r"fill:\s*#ffffff", style))
        for name, value in list(element.attrib.items()):
            if name == _LINK:
                del element.attrib[name]
                name = "href"
            if name == "id":
                value = f"{chart.key}-{value}"
            elif name == "href" and value.startswith("#"):
                value = f"#{chart.key}-{value[1:]}"
            else:
                value = value.replace("url(#", f"url(#{chart.key}-")
            element.set(name, value)
        if style:
            element.set("class", styles.class_of(style, word=word, fixed=fixed))
    _describe(root, chart, plate=on_colours)
    return ElementTree.tostring(root, encoding="unicode", short_empty_elements=True)


def _on_cells(root: ElementTree.Element) -> tuple[set[ElementTree.Element], set[ElementTree.Element]]:
    """Return what stands on pictures of coloured cells: words, and lines that part the cells.

    The words' colours were chosen for the cells, which are the same in the dark.
    """
    on_cells: set[ElementTree.Element] = set()
    gaps: set[ElementTree.Element] = set()
    for axes in root.iter(f"{_SVG}g"):
        image = axes.find(f"{_SVG}g/{_SVG}image")
        frame = axes.find(f"{_SVG}g/{_SVG}path")
        if not axes.get("id", "").startswith("axes_") or image is None or frame is None:
            continue
        # The axes' own frame comes first, as straight lines.
        numbers = [float(each) for each in re.findall(r"-?\d+(?:\.\d+)?", frame.get("d", ""))]
        across, down = numbers[::2], numbers[1::2]
        for words in axes.iterfind(f"{_SVG}g/{_SVG}text"):
            x, y = (float(words.get(name, "nan")) for name in "xy")
            if min(across) <= x <= max(across) and min(down) <= y <= max(down):
                on_cells.add(words)
        for group in axes.iterfind(f"{_SVG}g"):
            if group.get("id", "").startswith("LineCollection"):
                gaps.update(group.iterfind(f"{_SVG}path"))
    return on_cells, gaps


def _describe(root: ElementTree.Element, chart: Chart, *, plate: bool) -> None:
    names = f"{chart.key}-title", f"{chart.key}-shows"
    for place, (tag, name, words) in enumerate((("title", names[0], chart.title), ("desc", names[1], chart.shows))):
        element = ElementTree.Element(tag, {"id": name})
        element.text = _NOT_XML.sub("\ufffd", words)
        root.insert(place, element)
    # White words on anything but cells were chosen for what lies below: such a chart keeps its light paper in the dark.
    for name in ("width", "height", "version"):
        root.attrib.pop(name, None)
    root.set("role", "img")
    root.set("aria-labelledby", names[0])
    root.set("aria-describedby", names[1])
    root.set("class", "plate" if plate else "themed")
