"""What questions could still bring: the same for all networks that stand alike, where nothing was told of them.

A case is asked again with every answer, and cases of one start again and again; what one answer could say of a thing
depends on where that stands, and on nothing that was told of others; of the whole vehicle's severities, which are
linked, on what was told of these. May import: inference, knowledge_base, and `instances`,
`questions`, `targets`, `views` of this room.
"""

from __future__ import annotations

from collections.abc import Mapping

from msgspec import Struct, field

from diag.inference import Array
from diag.knowledge_base import Engine, Knowledge
from diag.network.instances import Key
from diag.network.questions import Question
from diag.network.targets import Targets
from diag.network.views import Outlook

__all__ = ["Outlooks", "SaidOfVehicle", "Untold", "outlooks_of"]

HELD = 6  # ways to stand
MOST_OF_VEHICLE = 4096
SaidOfVehicle = tuple[tuple[str, tuple[int, ...], bytes], ...]  # severity, versions, likelihood
Untold = tuple[tuple[str, ...], Array, tuple[int, ...]]  # names, likelihood and versions of a question's outcomes


class Outlooks(Struct, frozen=True, eq=False):
    """Outlooks by question, as far as they were asked for, of all networks in which things stand as here. `untold`: by
    item, condition and version, what a question of which nothing was told may bring, wherever it is asked."""

    knowledge: Knowledge
    engine: Engine
    components: Mapping[Key, tuple[int, tuple[int, ...]]]
    axes: Mapping[Key, tuple[int, tuple[int, ...]]]
    epochs: Mapping[Key, tuple[int, ...]]
    elsewhere: Mapping[tuple[Key, int], tuple[int, int]]
    known: dict[Question, Outlook | None] = field(default_factory=dict)
    together: dict[tuple[Question, ...], Outlook | None] = field(default_factory=dict)
    of_vehicle: dict[tuple[tuple[Question, ...], SaidOfVehicle], Outlook | None] = field(default_factory=dict)
    untold: dict[tuple[str, str | None, int], Untold | None] = field(default_factory=dict)

    def about_vehicle(self) -> dict[tuple[tuple[Question, ...], SaidOfVehicle], Outlook | None]:
        """Outlooks of questions about the whole vehicle, alone or several at once, by what was told of its severities;
        emptied when many."""
        if len(self.of_vehicle) >= MOST_OF_VEHICLE:
            self.of_vehicle.clear()
        return self.of_vehicle

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


def outlooks_of(knowledge: Knowledge, engine: Engine, targets: Targets) -> Outlooks:
    """Where outlooks are kept of networks that stand so."""
    for known in tuple(_LATEST):
        if known.serve(knowledge, engine, targets):
            return known
    made = Outlooks(knowledge, engine, targets.components, targets.axes, targets.epochs, targets.elsewhere)
    _LATEST.insert(0, made)
    del _LATEST[HELD:]
    return made
