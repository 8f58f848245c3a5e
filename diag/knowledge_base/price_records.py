"""The records of money in the knowledge language: parts, what a visit costs the customer, a shop's prices and terms.

May import: pydantic and `diag.basics`.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, StrictBool

from diag.knowledge_base.amounts import Amount, Basis, Chance, Record

__all__ = ["Customer", "Part", "Prices", "Terms"]


class Part(Record):
    """A part with its price in the currency of prices.yaml. Single-use parts are never fitted twice."""

    name: str
    price: Amount
    single_use: StrictBool = False


class Customer(Record):
    """What counts on the customer's side; money in the currency of prices.yaml."""

    km_per_year: Amount
    horizon_months: Amount
    discount_per_year: Amount
    return_visit: Amount
    tow: Amount
    damage_of_driving_on: Amount


class Terms(Record):
    """What the workshop promises on the customer's page; what is none is printed as a blank to fill in.

    `call_above`: by what share a bill may pass the price told before the customer is called first.
    """

    guarantee_months: Annotated[float, Field(gt=0)] | None = None
    guarantee_km: Annotated[float, Field(gt=0)] | None = None
    valid_days: Annotated[float, Field(gt=0)] | None = None
    call_above: Chance | None = None


class Prices(Record):
    """Money of the workshop. `labour_per_hour`, prices and `Customer` money are in `currency`, before tax."""

    currency: str = Field(pattern=r"^[A-Z]{3}$")
    labour_per_hour: Amount
    tax: Chance
    finish_minutes: Amount
    diagnosis_minutes: Amount
    parts: dict[str, Part]
    customer: Customer
    terms: Terms = Terms()
    basis: Basis
