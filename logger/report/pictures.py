"""A page of the document as data for the template, and the pictures that its pages show."""

from __future__ import annotations

from typing import Any

Page = dict[str, Any]


class Pictures:
    """The pictures of a document, by the name of their file."""

    def __init__(self) -> None:
        self.files: dict[str, bytes] = {}

    def add(self, content: bytes, alt: str, kind: str = "svg") -> dict[str, str]:
        """Keep a picture; what the template needs to show it."""
        name = f"picture-{len(self.files) + 1}.{kind}"
        self.files[name] = content
        return {"file": name, "alt": alt}
