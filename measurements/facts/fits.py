"""What the lift fit takes of the facts: to fit all of it, some rows, or only what was read by then."""

from dataclasses import dataclass
from typing import Self

from geometry.lift import LiftFit, LiftPrior, fit_lift
from measurements.facts.arrays import Facts
from measurements.facts.rows import Floats, Ints


@dataclass(frozen=True)
class Lifts:
    """Histories of N instruments, (N, m) padded with weight 0; ``age_sd_years`` is (N,)."""

    age_years: Floats
    undone_mm: Floats
    moisture_offset_pct: Floats
    weight: Floats
    age_sd_years: Floats

    @classmethod
    def of(cls, facts: Facts) -> Self:
        return cls(
            facts.age_years,
            facts.undone_mm,
            facts.moisture_offset_pct,
            facts.weight,
            facts.age_sd_years,
        )

    def take(self, rows: Ints, weight: Floats) -> "Lifts":
        """Some instruments, repeated as asked, with other weights: (k, m)."""
        return Lifts(
            self.age_years[rows],
            self.undone_mm[rows],
            self.moisture_offset_pct[rows],
            weight,
            self.age_sd_years[rows],
        )

    def fit(self, prior: LiftPrior | None) -> LiftFit:
        """Fit every row under a prior (``prior.prior_for``); None: planning defaults."""
        return fit_lift(
            self.age_years,
            self.undone_mm,
            self.moisture_offset_pct,
            self.weight,
            prior=prior,
            age_sd_years=self.age_sd_years,
        )


def fit_facts(facts: Facts, prior: LiftPrior | None) -> LiftFit:
    """Fit the lift of every instrument under a prior; None: planning defaults."""
    return Lifts.of(facts).fit(prior)
