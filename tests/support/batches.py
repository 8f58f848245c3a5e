"""Small helpers on evidence: one case out of a batch, the same evidence in another order.

May import: `diag.inference`.
"""

from __future__ import annotations

import numpy as np

from diag.inference import Array, Evidence, Form, Model, Posterior, infer

__all__ = ["all_posteriors", "one_case", "reordered", "stacked"]


def all_posteriors(model: Model, evidence: Evidence, form: Form = "auto") -> Posterior:
    """The posterior, with what is else worked out only when it is asked for: severities that nothing speaks of."""
    found = infer(model, evidence, form)
    for plate in found.axes:
        tuple(plate)
    return found


def one_case(evidence: Evidence, case: int) -> Evidence:
    """One case of a batch as evidence of its own."""
    return Evidence(
        1,
        {key: likelihood[[case % len(likelihood)]] for key, likelihood in evidence.components.items()},
        tuple((plate, axes, likelihood[[case % len(likelihood)]]) for plate, axes, likelihood in evidence.axes),
        tuple((axes, likelihood[[case % len(likelihood)]]) for axes, likelihood in evidence.shared),
        tuple((plate, axes, likelihood[[case % len(likelihood)]]) for plate, axes, likelihood in evidence.configured),
    )


def reordered(evidence: Evidence) -> Evidence:
    """The same evidence told backwards, and with the axes of every joint likelihood named backwards."""
    local = tuple((plate, axes[::-1], backwards(likelihood)) for plate, axes, likelihood in reversed(evidence.axes))
    shared = tuple((axes[::-1], backwards(likelihood)) for axes, likelihood in reversed(evidence.shared))
    components = dict(reversed(evidence.components.items()))
    return Evidence(evidence.cases, components, local, shared, tuple(reversed(evidence.configured)))


def backwards(likelihood: Array) -> Array:
    """`[case, a, b, c]` as `[case, c, b, a]`."""
    result: Array = np.transpose(likelihood, (0, *range(likelihood.ndim - 1, 0, -1)))
    return result


def stacked(first: Evidence, second: Evidence) -> Evidence:
    """Both pieces of evidence at once, of equal numbers of cases."""
    components = {**first.components, **second.components}
    for key in first.components.keys() & second.components.keys():
        components[key] = first.components[key] * second.components[key]
    configured = first.configured + second.configured
    return Evidence(first.cases, components, first.axes + second.axes, first.shared + second.shared, configured)
