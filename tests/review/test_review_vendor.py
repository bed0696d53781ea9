"""The viewer that ships with the page is the one its makers published, and says its licence."""

import hashlib
from importlib import resources

VENDOR = resources.files("blendkit.review").joinpath("static/vendor")


def test_the_viewer_is_the_published_file() -> None:
    # SHA-256 of build/openseadragon/openseadragon.min.js in the npm package openseadragon 6.1.1.
    data = VENDOR.joinpath("openseadragon-6.1.1.min.js").read_bytes()
    assert (
        hashlib.sha256(data).hexdigest()
        == "14d587cd3ee7c4861f1a41077ce642029364a21029956ba635bd8fb1202cf9ad"
    )
    assert data.startswith(b"//! openseadragon 6.1.1\n")


def test_its_licence_stands_beside_it() -> None:
    text = VENDOR.joinpath("openseadragon-LICENSE.txt").read_text(encoding="utf-8")
    assert "Redistributions of source code must retain the above copyright notice" in text
    assert "Neither the name of" in text
