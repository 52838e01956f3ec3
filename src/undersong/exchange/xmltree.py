"""Small tools on XML trees: adding elements, asking for text, refusing what is no music.

Parsing expands no entities, loads no DTD and uses no network; a document that declares entities
of its own is refused, since no notation needs them.
"""

from __future__ import annotations

import re
from typing import Any, TypeAlias

from lxml import etree

from undersong.errors import ExchangeError

Element: TypeAlias = etree._Element

_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def sub(parent: Element, tag: str, text: str | None = None, /, **attributes: str) -> Element:
    """A new last child; ``_`` in an attribute's name stands for ``-``."""
    child = etree.SubElement(parent, tag)
    for name, value in attributes.items():
        child.set(name.replace("_", "-"), value)
    if text is not None:
        child.text = _NOT_XML.sub("", text)
    return child


def parsed(data: bytes) -> Element:
    """The root element of a document that may come from anywhere.

    Raises
    ------
    ExchangeError
        If it is not well-formed, or declares entities.
    """
    parser = etree.XMLParser(
        resolve_entities=False, no_network=True, load_dtd=False, huge_tree=False,
        remove_comments=True, remove_pis=True,
    )  # fmt: skip
    try:
        root = etree.fromstring(data, parser)
    except etree.XMLSyntaxError as error:
        line, column = error.position
        raise ExchangeError(
            f"This XML breaks off or is damaged at line {line}, column {column}: "
            "save it again where it was made."
        ) from error
    declared: Any = root.getroottree().docinfo.internalDTD
    if declared is not None and any(True for _ in declared.iterentities()):
        raise ExchangeError("The file declares XML entities; notation files have no need of any.")
    return root


def text_of(parent: Element, path: str) -> str | None:
    """Stripped text of the first element of a path; None where there is none or no text."""
    found = parent.findtext(path)
    return (found.strip() or None) if found is not None else None
