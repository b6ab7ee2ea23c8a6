"""What the guide may know of the page that it stands on: tools, pictures, panels, the proposal."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol

from PySide6.QtWidgets import QWidget

from app.pictures.in_step import Pictures


class ToolButtons(Protocol):
    """The row of tools."""

    def button(self, name: str) -> QWidget:
        """The button of one tool."""


class ProposedJaw(Protocol):
    """The notice of what is proposed."""

    @property
    def for_lower(self) -> QWidget:
        """The button that confirms a lower jaw."""


class GuidedPage(Protocol):
    """The page of an open case, as the guide sees it."""

    @property
    def pictures(self) -> Pictures:
        """Every picture."""

    @property
    def panels(self) -> Mapping[str, QWidget]:
        """The panels by their place."""

    @property
    def tool_row(self) -> ToolButtons:
        """The row of tools."""

    @property
    def proposed(self) -> ProposedJaw:
        """The notice of what is proposed."""

    @property
    def active_tool(self) -> str:
        """Name of the tool that is taken."""

    def take_tool(self, name: str) -> None:
        """Take a tool, as its button does."""
