"""The sheet of simulated cases: what each policy costs. May import: `diag.basics`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

__all__ = ["LaboratorySheet", "PolicyLine", "RunLine"]


@dataclass(frozen=True)
class PolicyLine:
    """One policy over all simulated cases."""

    policy: Annotated[str, "name of the policy"]
    total: Annotated[float, "mean total cost of a case, checks included"]
    error: Annotated[float, "standard error of that mean"]
    checks: Annotated[float, "mean number of checks"]
    check_cost: Annotated[float, "mean cost of the checks"]
    wrong: Annotated[float, "mean number of jobs with parts whose parts were all sound"]
    returns: Annotated[float, "share of cases that come back with something not mended"]
    beyond: Annotated[float, "mean total beyond that of perfect information"]
    dearer: Annotated[float, "mean total beyond that of the first policy, on the same cases"]
    dearer_error: Annotated[float, "standard error of that difference"]
    stuck: Annotated[float, "share of cases whose answers the policy's numbers could not explain"]


@dataclass(frozen=True)
class RunLine:
    """One case under one policy."""

    policy: Annotated[str, "name of the policy"]
    start: Annotated[str, "complaint and distance"]
    number: Annotated[int, "number of the vehicle within its start"]
    checks: Annotated[int, "checks done"]
    check_cost: Annotated[float, "what they cost"]
    repair: Annotated[float, "the repair and everything after it"]
    total: Annotated[float, "both together"]
    returns: Annotated[float, "chance that it comes back with something not mended"]
    wrong: Annotated[int, "jobs with parts whose parts were all sound"]
    least: Annotated[float, "what the best plan costs where the truth is known from the start"]


@dataclass(frozen=True)
class LaboratorySheet:
    """The sheet of `diag laboratory`."""

    engine: Annotated[str, "id of the engine"]
    engine_name: Annotated[str, "its name"]
    cases: Annotated[int, "number of simulated cases"]
    starts: Annotated[int, "how many complaints and ages they are spread over"]
    seed: Annotated[int, "the seed from which they were drawn"]
    other_numbers: Annotated[bool, "whether the truth was drawn from other numbers than the policies know"]
    currency: Annotated[str, "currency of all money, before tax"]
    least: Annotated[float, "mean cost where the truth is known from the start: no policy can be cheaper"]
    least_error: Annotated[float, "standard error of that mean"]
    policies: Annotated[tuple[PolicyLine, ...], "the policies, in the order in which they were named"]
    runs: Annotated[tuple[RunLine, ...], "every case under every policy, where asked for; else empty"]
