"""The vehicle's severities as inference holds them: noisy maxima over the plates, and over backgrounds.

May import: knowledge_base, inference, basics, numpy.
"""

from __future__ import annotations

import numpy as np

from diag.inference import Array, SharedSeverity
from diag.network.plates import Layout, direct_causes
from diag.network.tables import contribution

__all__ = ["shared_severities"]


def shared_severities(layout: Layout) -> tuple[SharedSeverity, ...]:
    """One noisy maximum for each vehicle severity, in the order of the knowledge, chained causes left out."""
    return tuple(
        SharedSeverity(severity.name, len(severity.levels), max(layout.severities[severity_id, None]) + 1, backgrounds)
        for severity_id, severity in layout.knowledge.severities.items()
        if severity.per == "vehicle"
        for backgrounds in [_backgrounds(layout, severity_id)]
    )


def _backgrounds(layout: Layout, severity_id: str) -> tuple[Array, ...]:
    """The leak, and what each shared cause that reaches into cylinders contributes to the vehicle's severity itself."""
    severity, epochs = layout.knowledge.severities[severity_id], layout.severities[severity_id, None]
    versions, found = max(epochs) + 1, []
    if severity.background:
        row = contribution(severity.background, severity.levels, f"the background of '{severity_id}'")
        found.append(np.broadcast_to(row, (versions, 1, len(row))))
    for cause in direct_causes(layout.knowledge, layout.case, severity_id, None):
        component = layout.knowledge.components.get(cause[0])
        if component is not None and component.reaches_cylinders:
            table = layout.table(severity_id, cause[0])
            standing = dict(zip(epochs, layout.versions[cause].by_epoch, strict=True))
            columns = [layout.configurations.column(cause, standing[version]) for version in range(versions)]
            found.append(np.stack([table[column] for column in columns]))
    return tuple(found)
