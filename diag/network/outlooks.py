"""What questions of which nothing was told could still bring: the same for all networks that stand alike.

A case is asked again with every answer, and cases of one start again and again; what one answer could say of a thing
depends on where that stands, and on nothing that was told of others. May import: knowledge_base, and `instances`,
`questions`, `targets`, `views` of this room.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from diag.knowledge_base import Engine, Knowledge
from diag.network.instances import Key
from diag.network.questions import Question
from diag.network.targets import Targets
from diag.network.views import Outlook

__all__ = ["Outlooks", "outlooks_of"]

HELD = 6  # ways to stand


@dataclass(frozen=True, eq=False)
class Outlooks:
    """Outlooks by question, as far as they were asked for, of all networks in which things stand as here."""

    knowledge: Knowledge
    engine: Engine
    components: Mapping[Key, tuple[int, tuple[int, ...]]]
    axes: Mapping[Key, tuple[int, tuple[int, ...]]]
    epochs: Mapping[Key, tuple[int, ...]]
    elsewhere: Mapping[tuple[Key, int], tuple[int, int]]
    known: dict[Question, Outlook | None] = field(default_factory=dict)

    def serve(self, knowledge: Knowledge, engine: Engine, targets: Targets) -> bool:
        """Whether things stand there as they do here."""
        return (
            self.knowledge is knowledge
            and self.engine is engine
            and self.components == targets.components
            and self.axes == targets.axes
            and self.epochs == targets.epochs
            and self.elsewhere == targets.elsewhere
        )


_LATEST: list[Outlooks] = []


def outlooks_of(knowledge: Knowledge, engine: Engine, targets: Targets) -> dict[Question, Outlook | None]:
    """Where outlooks are kept of questions about one plate alone of which nothing was told."""
    for known in tuple(_LATEST):
        if known.serve(knowledge, engine, targets):
            return known.known
    made = Outlooks(knowledge, engine, targets.components, targets.axes, targets.epochs, targets.elsewhere)
    _LATEST.insert(0, made)
    del _LATEST[HELD:]
    return made.known
