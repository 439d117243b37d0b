"""Outside judge for MusicXML: the MusicXML 4.0 XSD.

The XSD is the one of the W3C Music Notation Community Group that the PyPI package `musicxml` ships. It
imports two small schemas from the network; they are replaced by local ones with the attributes that it uses.
"""

from __future__ import annotations

import importlib.util
import tempfile
from functools import cache
from pathlib import Path
from typing import Any

from lxml import etree

XSD = "http://www.w3.org/2001/XMLSchema"

XML_ATTRIBUTES = f"""<xs:schema xmlns:xs="{XSD}" targetNamespace="http://www.w3.org/XML/1998/namespace">
<xs:attribute name="lang" type="xs:language"/>
<xs:attribute name="space"><xs:simpleType><xs:restriction base="xs:NCName">
<xs:enumeration value="default"/><xs:enumeration value="preserve"/>
</xs:restriction></xs:simpleType></xs:attribute>
</xs:schema>"""
"""The attributes of the XML namespace (W3C XML 1.0) that the XSD uses."""

XLINK_ATTRIBUTES = f"""<xs:schema xmlns:xs="{XSD}" targetNamespace="http://www.w3.org/1999/xlink">
<xs:attribute name="href" type="xs:anyURI"/><xs:attribute name="type" type="xs:string"/>
<xs:attribute name="role" type="xs:string"/><xs:attribute name="title" type="xs:string"/>
<xs:attribute name="show" type="xs:string"/><xs:attribute name="actuate" type="xs:string"/>
</xs:schema>"""
"""The attributes of W3C XLink 1.0 that the XSD uses."""


@cache
def musicxml_schema() -> etree.XMLSchema:
    """The compiled MusicXML 4.0 schema."""
    spec = importlib.util.find_spec("musicxml")
    assert spec is not None
    assert spec.origin is not None
    source = Path(spec.origin).parent / "generate_classes" / "musicxml_4_0.xsd"
    tree = etree.parse(str(source))
    with tempfile.TemporaryDirectory() as directory:
        for element in tree.getroot().iter(f"{{{XSD}}}import"):
            name = "xlink.xsd" if "xlink" in element.get("namespace", "") else "xml.xsd"
            element.set("schemaLocation", name)
        Path(directory, "xml.xsd").write_text(XML_ATTRIBUTES, "utf-8")
        Path(directory, "xlink.xsd").write_text(XLINK_ATTRIBUTES, "utf-8")
        local = Path(directory, "musicxml.xsd")
        tree.write(str(local), encoding="utf-8")
        return etree.XMLSchema(etree.parse(str(local)))


def schema_errors(tree: Any) -> list[str]:
    """What the MusicXML 4.0 schema has against a document.

    Args:
        tree: an lxml ElementTree; timewise and partwise are both judged.

    Returns:
        A line for each error, with its line number; empty for a valid document.
    """
    schema = musicxml_schema()
    if schema.validate(tree):
        return []
    return [f"line {error.line}: {error.message}" for error in schema.error_log]
