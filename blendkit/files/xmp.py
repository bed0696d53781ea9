"""XMP packets: what the background frame carried, and what the merge adds in its own namespace.

References
----------
.. [1] ISO 16684-1:2019, XMP data model and serialization: 7 (RDF), 8.4 (the xmp namespace).
.. [2] IPTC Photo Metadata Standard: the properties that name a place.
"""

import io
import re
import xml.etree.ElementTree as ET  # a packet with a document type is refused before parsing
from collections.abc import Mapping
from datetime import datetime

from blendkit.frame import Capture, Frame

NAMESPACE = "urn:blendkit:merge:1#"
"""Namespace of our properties; the usual prefix is blendkit."""

EXTENDED = b"HasExtendedXMP"
"""The property of a packet that goes on in further segments of its JPEG."""

COPY_OF = "CopyOf"
"""Our property of a copy for the lab: the name of the picture that it was made of."""

_RDF = "http://www.w3.org/1999/02/22-rdf-syntax-ns#"
_META = "adobe:ns:meta/"
_XMP = "http://ns.adobe.com/xap/1.0/"
_TIFF = "http://ns.adobe.com/tiff/1.0/"
_EXIF = "http://ns.adobe.com/exif/1.0/"
_PREFIXES = {"rdf": _RDF, "x": _META, "xmp": _XMP, "tiff": _TIFF, "blendkit": NAMESPACE}

# Raw converters keep their instructions here; they are already in the pixels, and a program that
# found them in the result would carry them out once more.
_DEVELOPING = "http://ns.adobe.com/camera-raw-settings/1.0/"
# Of a gain map, which brightens the picture that lay in its file, nothing is carried.
_GAIN_MAP = "http://ns.adobe.com/hdr-gain-map/1.0/"
_FOREIGN = (f"{{{_DEVELOPING}}}", f"{{{_GAIN_MAP}}}", f"{{{NAMESPACE}}}")
_STALE = {
    f"{{{uri}}}{name}"
    for uri, names in (
        (_XMP, "Thumbnails ModifyDate MetadataDate CreatorTool"),
        (_TIFF, "Orientation ImageWidth ImageLength BitsPerSample SamplesPerPixel Compression"),
        (_TIFF, "PhotometricInterpretation PlanarConfiguration"),
        (_TIFF, "XResolution YResolution ResolutionUnit"),
        (_EXIF, "ColorSpace PixelXDimension PixelYDimension"),
        ("http://ns.adobe.com/photoshop/1.0/", "ICCProfile ColorMode"),
        ("http://ns.adobe.com/xmp/note/", "HasExtendedXMP"),  # of a JPEG's further segments
    )
    for name in names.split()
}
_PRIVATE = re.compile(
    r"GPS|SerialNumber|OwnerName|ImageUniqueID"
    # IPTC's names of places [2], whole
    r"|\}(City|State|Country|CountryCode|CountryName|ProvinceState|WorldRegion|Sublocation"
    r"|Location|LocationShown|LocationCreated)$",
    re.IGNORECASE,
)

_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def merged(
    packet: bytes | None,
    properties: Mapping[str, str],
    *,
    software: str,
    changed_at: datetime,
    private: bool = False,
) -> tuple[bytes, bool]:
    """Return the XMP of a result.

    Parameters
    ----------
    packet : the background frame's XMP, None if it has none.
    properties : our own, by name; they go to NAMESPACE.
    software, changed_at : go to xmp:CreatorTool and xmp:ModifyDate.
    private : leave out position, owner and serial numbers.

    Returns
    -------
    packet : a whole packet with its wrapper, UTF-8.
    kept : False if the given packet is damaged and was left out.
    """
    tree = _parsed(packet) if packet else None
    rdf = None if tree is None else _rdf(tree)
    root = tree if tree is not None and rdf is not None else _empty()
    rdf = root[0] if rdf is None else rdf
    for description in rdf:
        _clean(description, private=private)
    own = _named(properties)
    own[f"{{{_XMP}}}CreatorTool"] = software
    own[f"{{{_XMP}}}ModifyDate"] = changed_at.isoformat(timespec="seconds")
    own[f"{{{_TIFF}}}Orientation"] = "1"
    ET.SubElement(rdf, f"{{{_RDF}}}Description", {f"{{{_RDF}}}about": "", **own})
    return _packed(root), packet is None or tree is not None


def is_sound(packet: bytes) -> bool:
    """Return whether a packet can be carried on."""
    tree = _parsed(packet)
    return tree is not None and _rdf(tree) is not None


def _rdf(tree: ET.Element) -> ET.Element | None:
    name = f"{{{_RDF}}}RDF"
    return tree if tree.tag == name else tree.find(name)


def layer_note(layer: str) -> bytes:
    """Return a packet that says which layer of a merge a grey picture is, and nothing else."""
    return _noted({"Layer": layer})


def without_others(packet: bytes) -> bytes | None:
    """Return a packet with nothing but our own properties of a given one, None if it has none."""
    own = properties_of(packet)
    return _noted(own) if own else None


def _noted(properties: Mapping[str, str]) -> bytes:
    root = _empty()
    own = _named(properties)
    ET.SubElement(root[0], f"{{{_RDF}}}Description", {f"{{{_RDF}}}about": "", **own})
    return _packed(root)


def _named(properties: Mapping[str, str]) -> dict[str, str]:
    return {f"{{{NAMESPACE}}}{name}": legible(value) for name, value in properties.items()}


def legible(text: str) -> str:
    r"""Return a text with a mark in the place of every character that XML does not take.

    Names of files may hold bytes that are no UTF-8, and control characters (XML 1.0, 2.2).

    >>> legible("B\udce4ume\x01.tif") == "B\ufffdume\ufffd.tif"
    True
    """
    return _NOT_XML.sub("\ufffd", text)


def properties_of(packet: bytes | None) -> dict[str, str]:
    """Return our own properties in a packet, by name.

    They may stand as attributes, as we write them, or as elements, as a program that changed
    something else in the packet may write them anew: RDF makes no difference.
    """
    # Most packets are a camera's or a converter's: they need not be parsed to be told.
    tree = _parsed(packet) if packet and NAMESPACE.encode() in packet else None
    if tree is None:
        return {}
    own = f"{{{NAMESPACE}}}"
    found = [(node.tag, (node.text or "").strip()) for node in tree.iter()]
    found += [item for node in tree.iter() for item in node.attrib.items()]
    return {name.removeprefix(own): value for name, value in found if name.startswith(own)}


def exposure_note(background: Frame, foreground: Frame) -> dict[str, str]:
    """Return our properties that note which frames went in, and the foreground's exposure."""
    capture = foreground.capture
    numbers = {
        "ForegroundFNumber": capture.f_number,
        "ForegroundExposureTime": capture.exposure_time_s,
        "ForegroundISO": capture.iso,
        "ForegroundFocalLength": capture.focal_length_mm,
        "ForegroundFocusDistance": capture.focus_distance_m,
    }
    noted = {name: f"{value:.6g}" for name, value in numbers.items() if value is not None}
    if capture.captured_at is not None:
        noted["ForegroundCapturedAt"] = capture.captured_at.isoformat()
    noted["Note"] = f"foreground from {foreground.name} ({_sentence(capture)})"
    return {"Background": background.name, "Foreground": foreground.name, **noted}


def _sentence(capture: Capture) -> str:
    lens = f"{capture.focal_length_mm:g} mm" if capture.focal_length_mm else ""
    return ", ".join(filter(None, (lens, capture.exposure))) or "exposure not recorded"


def _parsed(packet: bytes) -> ET.Element | None:
    body = packet.strip(b"\0 \r\n\t")
    if b"<!DOCTYPE" in body or b"<!ENTITY" in body:
        return None
    try:
        for _, (prefix, uri) in ET.iterparse(io.BytesIO(body), events=("start-ns",)):  # noqa: S314
            if prefix and uri and not re.fullmatch(r"ns\d+", prefix):
                ET.register_namespace(prefix, uri)
        return ET.fromstring(body)  # noqa: S314 - no document type, so no entities to expand
    except (ET.ParseError, ValueError):
        return None


def _empty() -> ET.Element:
    root = ET.Element(f"{{{_META}}}xmpmeta")
    ET.SubElement(root, f"{{{_RDF}}}RDF")
    return root


def _clean(description: ET.Element, *, private: bool) -> None:
    """Remove what no longer holds, as attribute and as element, at any depth."""

    def unwanted(name: str) -> bool:
        return (
            name in _STALE
            or name.startswith(_FOREIGN)
            or (private and _PRIVATE.search(name) is not None)
        )

    for name in [name for name in description.attrib if unwanted(name)]:
        del description.attrib[name]
    for child in [child for child in description if unwanted(child.tag)]:
        description.remove(child)
    for child in description:
        _clean(child, private=private)


def _packed(root: ET.Element) -> bytes:
    for prefix, uri in _PREFIXES.items():
        ET.register_namespace(prefix, uri)
    body: bytes = ET.tostring(root, encoding="utf-8").split(b"?>\n", 1)[-1]
    head = b'<?xpacket begin="\xef\xbb\xbf" id="W5M0MpCehiHzreSzNTczkc9d"?>\n'
    return head + body + b'\n<?xpacket end="w"?>'
