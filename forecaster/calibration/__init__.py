"""Recalibration: forecasts of other tanks have shown how often their bands held, and that is put right here.

The paths' spread is what the model believes. On tanks whose outcome is known it can be seen where outcomes fell among
the paths, by lead and season: where they fall evenly nothing changes, where they heap at the ends the paths are drawn
apart, where they heap in the middle together. Each path keeps its rank, so that litres, run-dry dates and order dates
remain those of the same paths.

Flow     outcomes among paths -> **what is learnt** (learning) -> table -> **paths as told** (mapping)
Formula  z = normal score of a path's rank in the litres burned over a lead;  litres told = Q(g(z)), Q the paths'
         litres at a normal score, continued in log litres beyond the paths;  g rises, and is the identity where
         nothing has been learnt
Source   T. Gneiting, F. Balabdaoui, A. E. Raftery, "Probabilistic forecasts, calibration and sharpness", J. R. Stat.
         Soc. B 69 (2007) 243-268 [from memory]; ranks kept: R. Schefzik, T. L. Thorarinsdottir, T. Gneiting,
         "Uncertainty quantification in complex simulation models using ensemble copula coupling", Statistical
         Science 28 (2013) 616-640 [from memory]
"""

from forecaster.calibration.learning import Outcomes, learn_calibration, scores_of
from forecaster.calibration.mapping import recalibrate_burn
from forecaster.calibration.table import Calibration, Learnt, packaged_calibration, to_rows

__all__ = [
    "Calibration",
    "Learnt",
    "Outcomes",
    "learn_calibration",
    "packaged_calibration",
    "recalibrate_burn",
    "scores_of",
    "to_rows",
]
