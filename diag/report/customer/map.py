"""The picture of the engine on the customer's page. May import: pictures, and record, speaking of this folder."""

from __future__ import annotations

import re

from diag.pictures import EngineMap, MapBank, MapCylinder, engine_map
from diag.report.customer.record import CustomerPage
from diag.report.customer.speaking import kept_together

__all__ = ["MM_PER_UNIT", "map_of", "map_width"]

MM_PER_UNIT = 0.195  # in print: letters of 15 units are 8.3 points high
STANDS_OUT_FROM = 0.33


def map_of(page: CustomerPage) -> str:
    """The picture as SVG."""
    return engine_map(
        EngineMap(
            title=page.map_title,
            description=page.map_description,
            banks=tuple(
                MapBank(
                    bank.label,
                    tuple(
                        MapCylinder(each.number, kept_together(each.said), each.chance, each.chance >= STANDS_OUT_FROM)
                        for each in bank.cylinders
                    ),
                )
                for bank in page.banks
            ),
            end=page.map_end,
        )
    )


def map_width(page: CustomerPage) -> float:
    """Its width in units."""
    found = re.search(r'viewBox="0 0 ([0-9.]+) ', map_of(page))
    assert found is not None, "every picture has a viewBox"
    return float(found.group(1))
