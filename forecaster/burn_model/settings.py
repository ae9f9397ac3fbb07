"""Numbers of the burn model that are not fitted to one tank."""

from dataclasses import dataclass, field

from forecaster.burn_model.lanes import Grid


@dataclass(frozen=True, slots=True)
class Settings:
    """Numbers of the model that are not fitted to one tank.

    Attributes
    ----------
    rounding_k
        Softness of the degree-days' corner: the swing within a day. [K]
    slow_days
        Time in which the slow departure fades to 1/e. [d]
    day_noise
        Independent daily noise relative to the day's burn. [-]
    floor_sd_l
        Daily noise that remains without any burn. [L]
    drift
        Random walk of the intensities over 30 days, relative to their prior. [-]
    forgetting
        Daily discount on the log weights of the grid; none over a step whose reading is not learnt from.
    gate, gate_cost, escape_after, escape_sd_l
        A reading further off than ``gate`` standard deviations is not used and costs ``gate_cost``
        nats; after ``escape_after`` in a row the level is let go by ``escape_sd_l``.
    patience
        A raw value that goes on repeating is no reading once the expected burn exceeds that many
        sensor steps; see `forecaster.burn_model.stuck`.
    """

    grid: Grid = field(default_factory=Grid)
    rounding_k: float = 1.2
    slow_days: float = 12.0
    day_noise: float = 0.3
    floor_sd_l: float = 0.1
    drift: float = 0.01
    forgetting: float = 0.999
    gate: float = 4.0
    gate_cost: float = 9.0
    escape_after: int = 4
    escape_sd_l: float = 316.0
    patience: float = 4.0
