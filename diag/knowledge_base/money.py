"""Money of the workshop: parts, the customer's side, the workshop's own, what its page promises.

May import: pydantic, and `amounts`.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, StrictBool

from diag.knowledge_base.amounts import Amount, Basis, Chance, Figure, Record

__all__ = ["Customer", "OwnSide", "Part", "Prices", "Terms"]


class Part(Record):
    """A part with its price in the currency of prices.yaml, and the days to wait for it (0: it lies in the store).
    Single-use parts are never fitted twice."""

    name: str
    price: Amount
    wait_days: Amount = Figure.model_construct({"value"}, value=0.0)
    single_use: StrictBool = False


class Customer(Record):
    """What counts on the customer's side; money in the currency of prices.yaml.

    The horizon ends with its months, or with its kilometres where these are named and come first. A vehicle on which a
    seal still blows is driven on for `driven_on_months` before it comes again: the damage is `damage_of_driving_on` at
    once and `damage_per_month` for each month, and an injector then comes out so much harder as
    `removal_odds_in_a_year` says (the odds of what hangs on how hard it blows, after a year of it).
    """

    km_per_year: Amount
    horizon_months: Amount
    horizon_km: Amount | None = None
    discount_per_year: Amount
    return_visit: Amount
    tow: Amount
    damage_of_driving_on: Amount
    damage_per_month: Amount = Figure.model_construct({"value"}, value=0.0)
    driven_on_months: Amount = Figure.model_construct({"value"}, value=0.0)
    removal_odds_in_a_year: Amount = Figure.model_construct({"value"}, value=1.0)
    day_without_vehicle: Amount = Figure.model_construct({"value"}, value=0.0)


class OwnSide(Record):
    """The workshop's own side: what it bears of what comes back, and what it earns.

    `guarantee_share`: of the work and parts for what its own work left or brought about, within the guarantee.
    `goodwill_share`: of the diagnosis at a return visit for what it did not mend. `lost_trust`: money that a customer
    who comes again because the complaint was not cured is worth less. `margin`: share of the invoice that
    is left to it.
    """

    guarantee_share: Chance = Figure.model_construct({"value"}, value=1.0)
    goodwill_share: Chance = Figure.model_construct({"value"}, value=0.0)
    lost_trust: Amount = Figure.model_construct({"value"}, value=0.0)
    margin: Chance = Figure.model_construct({"value"}, value=0.0)


class Terms(Record):
    """What the workshop promises on the customer's page; what is none is printed as a blank to fill in.

    `call_above`: by what share a bill may pass the price told before the customer is called first.
    """

    guarantee_months: Annotated[float, Field(gt=0)] | None = None
    guarantee_km: Annotated[float, Field(gt=0)] | None = None
    valid_days: Annotated[float, Field(gt=0)] | None = None
    call_above: Chance | None = None


class Prices(Record):
    """Money of the workshop. `labour_per_hour`, prices and `Customer` money are in `currency`, before tax. `invented`:
    they are those of the demonstration, and papers for a real engine say so."""

    currency: str = Field(pattern=r"^[A-Z]{3}$")
    invented: StrictBool = False
    labour_per_hour: Amount
    tax: Chance
    finish_minutes: Amount
    diagnosis_minutes: Amount
    parts: dict[str, Part]
    customer: Customer
    terms: Terms = Terms.model_construct()
    own_side: OwnSide = OwnSide.model_construct()
    basis: Basis
