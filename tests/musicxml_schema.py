"""The published MusicXML 4.0 schema, as the package `musicxml` carries it.

It imports two other schemas from the network: the W3C's for the ``xml:`` and ``xlink:``
attributes. Stubs with the attributes that MusicXML uses stand in for them here.
"""

from __future__ import annotations

from importlib.resources import files
from typing import Any

from lxml import etree

_STUBS = {
    "xml.xsd": """<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema"
        targetNamespace="http://www.w3.org/XML/1998/namespace">
      <xs:attribute name="lang" type="xs:language"/>
      <xs:attribute name="space" type="xs:NCName"/>
    </xs:schema>""",
    "xlink.xsd": """<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema"
        targetNamespace="http://www.w3.org/1999/xlink">
      <xs:attribute name="href" type="xs:anyURI"/>
      <xs:attribute name="type" type="xs:string"/>
      <xs:attribute name="role" type="xs:token"/>
      <xs:attribute name="title" type="xs:token"/>
      <xs:attribute name="show" type="xs:string"/>
      <xs:attribute name="actuate" type="xs:string"/>
    </xs:schema>""",
}


class _Stubs(etree.Resolver):
    # The stubs of lxml leave out the context that lxml passes and asks for.
    def resolve(self, system_url: str, public_id: str, context: Any = None) -> Any:
        name = str(system_url).rsplit("/", 1)[-1]
        text = _STUBS.get(name)
        return None if text is None else self.resolve_string(text, context, base_url=system_url)


def musicxml_schema() -> etree.XMLSchema:
    """The schema, ready to validate a tree."""
    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(_Stubs())
    text = files("musicxml").joinpath("generate_classes", "musicxml_4_0.xsd").read_bytes()
    return etree.XMLSchema(etree.fromstring(text, parser))
