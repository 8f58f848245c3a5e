"""The few colours of page and pictures. No meaning rests on them; a test holds their contrast to WCAG 2 AA."""

from __future__ import annotations

__all__ = ["ACCENT", "INK", "LINE", "MUTED", "PAPER", "TINT"]

PAPER = "#ffffff"
INK = "#1d2b2f"  # text and strong frames
MUTED = "#47575b"  # small text
LINE = "#75868a"  # frames and rules: at least 3:1 on paper
ACCENT = "#2b666b"  # bars and headings
TINT = "#eef3f1"  # ground of what is advised
