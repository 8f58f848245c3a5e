"""THE OBJECTIVE: what a plan costs the customer, as one formula. Everything in this room minimises or reads it.

A plan d chooses a treatment (a set of jobs, perhaps none) at every site: a cylinder, a group of shared components that
jobs treat together, or the configuration of shared causes. The truth x is the state of every component, not known;
all expectations are over the posterior. Money is before tax, from now on: time already spent never counts.

cost(d) =   sum over (kind, bank) that d needs and that is not open:  minutes x rate, once  [access]
          + sum over jobs of d:  (minutes + awkward minutes of the cylinder) x rate  [labour]
                                + parts + money  [parts, charges]
          + finish minutes x rate, once, if d does anything (leak check, road test)  [finish]
          + day x days, of the slowest part or job of d  [waiting]
          + sum over jobs and risks:  E[chance(severity there)] x (minutes x rate + parts + money)  [complications]
          + V x (1 - E[product over sites of cured(x, d)])  [come-back]
          + sum over fault components:  P(unsound after d) x M(component)  [mending]
          + G x (1 - E[product over cylinders of 1(seal sound or renewed)])  [damage]
          + later(d)  [later seals]

cured: every fault component of the site is sound and left alone (1), sound and disturbed by a job (the chance that it
  stays sound), or renewed (the chance that a new one is sound, beside shared faults that are sound: where the plan
  leaves one, nothing is cured anyway). One event of the vehicle: one visit, whatever is left.
complications: the odds of a risk are higher where the injector was not out for long (`older`), in all of these.
V: return visit = customer's trouble + rate x (diagnosis + finish minutes), and the tow where it does not start.
M: what is left is found at that visit and mended by the cheapest job for it, with its access and the complications that
  its failure brings (each component's own access: it errs against leaving several faults together). What no job mends
  costs a referral. A seal was driven on with until then, and its injector comes out harder, by the months. What a
  shared fault that is left does to new parts until then is not charged: it hangs on what is done at two sites at once.
G: damage of driving on with a seal that blows, by the months until the return visit, counted once for the vehicle.
later: failures of seals that are sound now, within the customer's horizon, over equal steps, each paid in the middle of
  its step and discounted. The workshop then chooses again the better of
    alone:    only that one each time:  sum over cylinders of E[failures, each renewed] x (V + its access + its job);
    together: all seals of the bank at the first failure in it:  P(first failure in the step) x (V + access + jobs),
              and from then on alone;
    all:      all seals of the engine at the first failure,
  jobs with the complications that a failed seal brings (and, for the others done with it, a sound one);
  that is the lesser of all, and of the sum over banks of the lesser of alone and together.
  A seal left has the Weibull life of its prior, conditional on its age now; a renewed one (and one left unsound, which
  the return visit renews) starts anew. One renewed at a later visit may be unsound from the start (`fresh`, the quality
  of work) and then fails in its first step. The stress that all seals share stays in all of these. The horizon is the
  customer's months, or kilometres, whichever end first. E is over that stress, jointly
  with what was found; given it and the findings' terms, the product over cylinders is exact.

A way out does nothing here: its own minutes and money, then `mending` of everything (the specialist finds it), V x
  P(not cured) unless it ends with the referral, no damage (the vehicle stands), and the later seals.

Testing a part away from the vehicle first, and deciding by the result, is an option beside the plans (`first_tested`).

Barred, whatever the money: 'nothing now' where a finding of danger is present or a dangerous state is probable
(`DANGER_THRESHOLD`); and every plan after which a dangerous state is still that probable. With a finding of danger
present a plan has to mend half of what may be behind it (`carriers`: the chance that nothing of that is left, beyond
that of none of it being there), where that is as probable; or half of all that may be wrong, and leave what is behind
it less probable. Half of the first leaves danger no likelier than half of all might.

Left out of every total: configurations of shared causes that together have a chance below 1e-5 (`believing`).
Other sides: the workshop's own (guarantee, goodwill) is not in it; it stands in `spread`, with percentiles of the
money and the cure of the complaint alone. May import: `money`.
"""

from __future__ import annotations

from msgspec import Struct

from diag.decision.money import Money

__all__ = ["DANGER_THRESHOLD", "LEAST_CURE_IN_DANGER", "Breakdown", "Fees"]

DANGER_THRESHOLD = 0.10
LEAST_CURE_IN_DANGER = 0.5


class Fees(Struct, frozen=True):
    """What does not depend on the truth, in money of the one currency of the prices.

    `finish`: leak check and road test, once. `come_back`: V of the objective. `damage`: G.
    `access[kind, bank]`: opening it and putting it back, what is open already left out; and each step of waiting for
    parts beyond the one before (`tariff.WAITING`).
    """

    currency: str
    rate_per_minute: float
    finish: float
    come_back: float
    damage: float
    access: dict[tuple[str, str], float]
    tax: float


class Breakdown(Struct, frozen=True):
    """The expected total of a plan, in parts that add up to it; each field is named as in the objective."""

    currency: str
    access: float = 0.0
    labour: float = 0.0
    parts: float = 0.0
    charges: float = 0.0
    finish: float = 0.0
    complications: float = 0.0
    waiting: float = 0.0
    come_back: float = 0.0
    mending: float = 0.0
    damage: float = 0.0
    later: float = 0.0

    @property
    def amounts(self) -> dict[str, Money]:
        """Each part by its name."""
        return {name: Money(getattr(self, name), self.currency) for name in _PARTS}

    @property
    def total(self) -> Money:
        """The sum of all parts."""
        return Money(sum(getattr(self, name) for name in _PARTS), self.currency)

    @property
    def invoice(self) -> Money:
        """What is paid at this visit: access, labour, parts, charges, finish, and expected complications."""
        now = self.access + self.labour + self.parts + self.charges + self.finish + self.complications
        return Money(now, self.currency)


_PARTS = tuple(name for name in Breakdown.__struct_fields__ if name != "currency")
