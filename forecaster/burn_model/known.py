"""What the filter knows of a house at an instant, all that it needs to go on from there."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Known:
    """The filter's state between two steps.

    Attributes
    ----------
    at
        The instant: before the first reading, or just after one. datetime64[s].
    numbers
        Of each grid point: mean (6), packed covariance (21), log weight, readings refused in a row;
        shape (grid, 29).
    first_pass
        The same of the point that the first pass follows, shape (29,); None before the first step.
    run_burn_l
        Litres burned since the run of repeats at hand began. [L]
    smooth_c
        Smoothed outdoor temperature at the beginning of the day of ``at``, shape (inertia,). [C]
    mild_c
        Mean outdoor temperature of the last days, likewise. [C]
    intensity
        The prior's intensities at each base and season, shape (base x season, 4).
    kappa, omega
        Degree-days per kWh/m2 of sun and per kWh of stove heat.
    observed_from
        Instant of the first reading of all, or None.
    last_l, last_step_l
        Litres of the reading at ``at``, with which a run of repeats may begin, and of one sensor step
        there; nan before the first reading. [L]
    """

    at: np.datetime64
    numbers: Floats
    first_pass: Floats | None
    run_burn_l: float
    smooth_c: Floats
    mild_c: float
    intensity: Floats
    kappa: float
    omega: float
    observed_from: np.datetime64 | None
    last_l: float = float("nan")
    last_step_l: float = float("nan")

    @property
    def begun(self) -> bool:
        """Whether a reading was taken already."""
        return self.first_pass is not None

    def alone_numbers(self, middle: Floats) -> Floats:
        """Numbers of the point that the first pass follows, given those of the grid's middle."""
        if self.first_pass is None:
            return middle
        return np.concatenate([self.first_pass, middle[len(self.first_pass) :]])
