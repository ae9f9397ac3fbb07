"""Time and weather laid out for the filter, compiled: what each tank of a fleet needs before its first step.

Flow     instants of readings and additions, degree-days of a place -> **steps, and what the weather asks of each**
"""

import math

import numba as nb
import numpy as np
import numpy.typing as npt

from forecaster.burn_model.weather_rows import PAIRS, SMALL, faded

Floats = npt.NDArray[np.float64]
Index = npt.NDArray[np.int64]

DAY_S = 86_400.0


@nb.njit(cache=True)  # type: ignore[untyped-decorator]
def cut(
    ends_s: Index, longest_d: float, when_s: Index, litres: Floats, sd_l: Floats
) -> tuple[Floats, Floats, Floats, Floats, Index]:
    """Cut the time up to each mark into steps; see `forecaster.burn_model.steps.cut_steps`.

    Parameters
    ----------
    ends_s : int array, shape (reading + 1,)
        Seconds from the beginning to each reading, and to the end. [s]
    longest_d : float
        A longer gap is cut into equal steps of at most a day. [d]
    when_s, litres, sd_l : arrays, shape (addition,)
        Oil put in. [s, L, L]

    Returns
    -------
    end_s, days, added_l, added_var : float arrays, shape (step,)
    reading : int array, shape (step,)
        The reading that ends the step, or -1.
    """
    marks, total, before = len(ends_s), 0, 0.0
    pieces = np.empty(marks, np.int64)
    for i in range(marks):
        gap = ends_s[i] - before
        pieces[i] = math.ceil(gap / DAY_S) if gap > longest_d * DAY_S else 1
        total += pieces[i]
        before = ends_s[i]
    end_s, days, added, var = np.empty(total), np.empty(total), np.zeros(total), np.zeros(total)
    reading = np.full(total, -1, np.int64)
    t, before = 0, 0.0
    for i in range(marks):
        gap = ends_s[i] - before
        for n in range(1, pieces[i] + 1):
            # whole seconds, rounded from the mark before: wherever the filter began, the steps are the same
            end_s[t], days[t] = before + math.floor(gap * n / pieces[i] + 0.5), gap / pieces[i] / DAY_S
            t += 1
        if i < marks - 1:
            reading[t - 1] = i
        before = float(ends_s[i])
    for j in range(len(when_s)):
        if 0 <= when_s[j] <= ends_s[-1]:
            at = min(np.searchsorted(end_s, when_s[j]), total - 1)
            added[at] += litres[j]
            var[at] += sd_l[j] ** 2
    return end_s, days, added, var, reading


@nb.njit(cache=True)  # type: ignore[untyped-decorator]
def places(first_s: float, end_s: Floats, midnights_s: Index) -> Floats:
    """Where the steps begin and end among the days, in days since the first midnight: shape (step + 1,).

    ``first_s`` and ``end_s`` rise; what lies before the first midnight or after the last is put there.
    """
    out, day, last = np.empty(len(end_s) + 1), 0, len(midnights_s) - 1
    for t in range(len(out)):
        at = first_s if t == 0 else end_s[t - 1]
        while day < last - 1 and at >= midnights_s[day + 1]:
            day += 1
        length = midnights_s[day + 1] - midnights_s[day]
        out[t] = min(max(day + (at - midnights_s[day]) / length, 0.0), float(last))
    return out


@nb.njit(cache=True)  # type: ignore[untyped-decorator]
def between_readings(per_step: Floats, reading: Index) -> Floats:
    """Sum over the steps up to each reading, with nothing in front for the reading before: (reading + 1,)."""
    count = 0
    for t in range(len(reading)):
        count += reading[t] >= 0
    out, i, total = np.zeros(count + 1), 1, 0.0
    for t in range(len(reading)):
        total += per_step[t]
        if reading[t] >= 0:
            out[i] = total
            i, total = i + 1, 0.0
    return out


@nb.njit(cache=True, fastmath={"contract", "nsz"}, error_model="numpy")  # type: ignore[untyped-decorator]
def _day(
    dd: Floats, base_factor: float, heat: float, sun: float, offered: float, rate: float, kappa: float, omega: float,
    left: Floats, to: Floats,
) -> None:  # fmt: skip
    """Regressors of one day at each pair, shape (4, PAIRS); see `forecaster.burn_model.weather_rows.house_rows`."""
    to[0, :] = base_factor
    for j in range(PAIRS):
        to[1, j] = heat * dd[j]
    if sun > 0.0:
        by = heat / kappa
        for j in range(PAIRS):
            some = max(dd[j], SMALL)
            rest = some * faded(sun / some)
            left[j] = rest if dd[j] > SMALL else dd[j]
            to[2, j] = -by * (dd[j] - left[j])
    else:
        left[:] = dd
        to[2, :] = 0.0
    if offered > 0.0:
        by = heat / omega
        for j in range(PAIRS):
            rest = max(left[j], SMALL)
            given = offered * (1.0 - faded(rate * dd[j]))
            to[3, j] = -by * rest * (1.0 - faded(given / rest)) if left[j] > SMALL else 0.0
    else:
        to[3, :] = 0.0


@nb.njit(cache=True, fastmath={"contract", "nsz"}, error_model="numpy")  # type: ignore[untyped-decorator]
def step_rows(
    degree_days: Floats, sun_kwh_m2: Floats, stove_kwh: Floats, stove_rate: Floats, base_factor: Floats,
    heat_factor: Floats, kappa: float, omega: float, edge: Floats,
) -> Floats:  # fmt: skip
    """Regressors of each step at each pair, in proportion to time within a day: shape (row, step, 4, PAIRS).

    ``degree_days`` has shape (row, day, PAIRS), the drivers (day,); ``edge``, shape (step + 1,), is from
    `places`. A day's row is worked out once and used by the steps that share the day.
    """
    rows, days, steps = degree_days.shape[0], degree_days.shape[1], len(edge) - 1
    out = np.empty((rows, steps, 4 * PAIRS))
    left, today = np.empty(PAIRS), np.empty((4, PAIRS))
    all_today = today.reshape(4 * PAIRS)
    for i in range(rows):
        held = -1
        for t in range(steps):
            start, end, first = edge[t], edge[t + 1], True
            for d in range(min(int(start), days - 1), min(int(end), days - 1) + 1):
                share = min(end, d + 1.0) - max(start, float(d))
                if d != held:
                    _day(
                        degree_days[i, d], base_factor[d], heat_factor[d], kappa * sun_kwh_m2[d],
                        omega * stove_kwh[d], min(stove_rate[d], 1e30), kappa, omega, left, today,
                    )  # fmt: skip
                    held = d
                if first:
                    for j in range(4 * PAIRS):
                        out[i, t, j] = share * all_today[j]
                else:
                    for j in range(4 * PAIRS):
                        out[i, t, j] += share * all_today[j]
                first = False
    return out.reshape(rows, steps, 4, PAIRS)
