"""CxF3: colours in XML (ISO 17972-1), the part that holds measured CIELAB values.

The XML is read by expat with document types forbidden, so that no entity can be declared.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from xml.parsers.expat import ExpatError, ParserCreate
from xml.sax.saxutils import quoteattr

from reader.errors import CardFileError

Lab = tuple[float, float, float]
NAMESPACE = "http://colorexchangeformat.com/CxF3-core"
CHANNELS = ("L", "A", "B")


def read_cxf(data: bytes, name: str) -> dict[str, Lab]:
    """Return the CIELAB colours (D50, 2 degree) by object of a CxF3 file."""
    reader = _Reader(name)
    parser = ParserCreate(namespace_separator=" ")
    parser.StartDoctypeDeclHandler = reader.refuse_doctype
    parser.StartElementHandler = reader.start
    parser.EndElementHandler = reader.end
    parser.CharacterDataHandler = reader.text
    reader.line = lambda: parser.CurrentLineNumber
    try:
        parser.Parse(data, True)
    except (ExpatError, LookupError, ValueError) as fault:
        if isinstance(fault, CardFileError):
            raise
        raise CardFileError(
            f"{name}: this is no whole XML file ({fault}); export it again"
        ) from None
    return reader.result()


def write_cxf(lab: Mapping[str, Lab]) -> str:
    """Return the colours as a CxF3 file."""
    objects = "".join(
        f'   <cc:Object ObjectType="Target" Name={quoteattr(patch)} Id="p{number}">'
        '<cc:ColorValues><cc:ColorCIELab ColorSpecification="CS1">'
        f"<cc:L>{v[0]:.4f}</cc:L><cc:A>{v[1]:.4f}</cc:A><cc:B>{v[2]:.4f}</cc:B>"
        "</cc:ColorCIELab></cc:ColorValues></cc:Object>\n"
        for number, (patch, v) in enumerate(lab.items(), start=1)
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<cc:CxF xmlns:cc="{NAMESPACE}">\n'
        " <cc:FileInformation><cc:Creator>dipstep</cc:Creator></cc:FileInformation>\n"
        f" <cc:Resources>\n  <cc:ObjectCollection>\n{objects}  </cc:ObjectCollection>\n"
        "  <cc:ColorSpecificationCollection>\n"
        '   <cc:ColorSpecification Id="CS1"><cc:TristimulusSpec><cc:Illuminant>D50</cc:Illuminant>'
        "<cc:Observer>2_Degree</cc:Observer></cc:TristimulusSpec></cc:ColorSpecification>\n"
        "  </cc:ColorSpecificationCollection>\n </cc:Resources>\n</cc:CxF>\n"
    )


class _Reader:
    """Gathers objects and colour specifications as the parser meets them."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.line: Callable[[], int] = int
        self.path: list[str] = []
        self.words: list[str] = []
        self.object = ""
        self.spec = ""
        self.channels: dict[str, float] = {}
        self.found: dict[str, tuple[Lab, str]] = {}
        self.specs: dict[str, dict[str, str]] = {}

    def fail(self, says: str) -> CardFileError:
        """Return the error with the place the parser has reached."""
        return CardFileError(f"{self.name}, line {self.line()}: {says}")

    def refuse_doctype(self, *_: object) -> None:
        """Refuse a document type: CxF3 has none, and it could declare entities."""
        raise self.fail("a document type is not allowed; export plain CxF3")

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        """Take an element's beginning."""
        local = tag.rpartition(" ")[2]
        if not self.path and local != "CxF":
            raise self.fail(f"the file begins with {local!r} and not CxF; export CxF3")
        self.path.append(local)
        self.words = []
        if local == "Object":
            self.object = attributes.get("Name") or attributes.get("Id") or ""
        if local == "ColorCIELab":
            self.spec, self.channels = attributes.get("ColorSpecification", ""), {}
        if local == "ColorSpecification":
            self.spec = attributes.get("Id", "")
            self.specs.setdefault(self.spec, {})

    def text(self, words: str) -> None:
        """Take text."""
        self.words.append(words)

    def end(self, tag: str) -> None:
        """Take an element's end."""
        local, text = tag.rpartition(" ")[2], "".join(self.words).strip()
        self.path.pop()
        parent = self.path[-1] if self.path else ""
        if parent == "ColorCIELab" and local in CHANNELS:
            self.channels[local] = self.number(local, text)
        if parent == "TristimulusSpec" and local in ("Illuminant", "Observer"):
            self.specs.setdefault(self.spec, {})[local] = text
        if local == "ColorCIELab" and parent == "ColorValues":
            self.take_colour()

    def number(self, channel: str, text: str) -> float:
        """Return a channel's value."""
        try:
            value = float(text)
        except ValueError:
            value = float("nan")
        if not abs(value) < 1e4:
            raise self.fail(f"{channel} {text!r} is not a number; export the measurement again")
        return value

    def take_colour(self) -> None:
        """Keep the colour of the object that ends."""
        missing = [c for c in CHANNELS if c not in self.channels]
        if missing:
            raise self.fail(f"object {self.object!r} has no {missing[0]}; export Lab whole")
        if self.object in self.found:
            raise self.fail(
                f"object {self.object!r} stands twice; average its measurements or leave one"
            )
        lightness, a, b = (self.channels[c] for c in CHANNELS)
        self.found[self.object] = (lightness, a, b), self.spec

    def result(self) -> dict[str, Lab]:
        """Return the colours once their specification is known to be D50, 2 degree."""
        if not self.found:
            raise CardFileError(
                f"{self.name}: no object has ColorCIELab values; export the measurement as Lab"
            )
        for spec in {spec for _, spec in self.found.values()}:
            known = self.specs.get(spec, {})
            light, observer = known.get("Illuminant", "D50"), known.get("Observer", "2_Degree")
            if (light, observer) != ("D50", "2_Degree"):
                raise CardFileError(
                    f"{self.name}: Lab is given for {light} and {observer}; "
                    "export it for D50 and the 2 degree observer"
                )
        return {patch: lab for patch, (lab, _) in self.found.items()}
