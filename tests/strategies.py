"""Hypothesis strategies: random tank shapes and tanks, within what a tank file accepts."""

from hypothesis import settings
from hypothesis import strategies as st

from forecaster.fuel import FUELS
from forecaster.tanks import (
    Elliptical,
    Flat,
    Head,
    LyingBox,
    LyingCylinder,
    Moulded,
    Shape,
    StrappingTable,
    Tank,
    Torispherical,
    UprightBox,
    UprightCylinder,
    lying_oval,
    upright_oval,
)

calm = settings(deadline=None, max_examples=60)
"""For tests whose single case takes milliseconds: no deadline, since machines are shared."""
few = settings(deadline=None, max_examples=25)
"""For tests whose single case takes tens of milliseconds."""

heights = st.floats(300.0, 4000.0)
lengths = st.floats(300.0, 6000.0)
fractions = st.floats(0.0, 1.0)


@st.composite
def upright_boxes(draw: st.DrawFn) -> UprightBox:
    """Boxes with vertical edges from sharp to fully round."""
    length, width = draw(lengths), draw(lengths)
    return UprightBox(length, width, draw(heights), draw(fractions) * min(length, width) / 2.0)


@st.composite
def lying_boxes(draw: st.DrawFn) -> LyingBox:
    """Boxes with long edges from sharp to fully round."""
    width, height = draw(lengths), draw(heights)
    return LyingBox(draw(lengths), width, height, draw(fractions) * min(width, height) / 2.0)


@st.composite
def ovals(draw: st.DrawFn) -> LyingBox:
    """Ovals, upright and lying."""
    shorter, longer = sorted((draw(heights), draw(heights)))
    if draw(st.booleans()):
        return upright_oval(length_mm=draw(lengths), width_mm=shorter, height_mm=longer)
    return lying_oval(length_mm=draw(lengths), width_mm=longer, height_mm=shorter)


def heads(radius_mm: float) -> st.SearchStrategy[Head]:
    """Ends of a cylinder of this radius: each kind the tank file knows."""
    return st.one_of(
        st.just(Flat()),
        st.sampled_from([radius_mm / 2.0, radius_mm]).map(lambda depth: Elliptical(radius_mm, depth)),
        st.builds(
            Torispherical,
            st.just(radius_mm),
            dish_radius_fraction=st.floats(0.5, 2.0),
            knuckle_radius_fraction=st.floats(0.0, 0.45),
        ),
    )


@st.composite
def lying_cylinders(draw: st.DrawFn, *, tilted: bool = False) -> LyingCylinder:
    """Lying cylinders with any ends, level or tilted."""
    diameter, length = draw(heights), draw(lengths)
    head = draw(heads(diameter / 2.0))
    if not tilted:
        return LyingCylinder(diameter, length, head)
    tilt, dip_at = draw(st.floats(0.01, 6.0)), draw(fractions) * length
    return LyingCylinder(diameter, length, head, tilt_deg=tilt, dip_at_mm=dip_at)


@st.composite
def strapping_tables(draw: st.DrawFn) -> StrappingTable:
    """Strapping tables of 2 to 30 rows, some starting above the bottom."""
    steps = draw(st.lists(st.tuples(st.floats(20.0, 200.0), st.floats(5.0, 500.0)), min_size=1, max_size=29))
    dips, volumes = [draw(st.sampled_from([0.0, 0.0, 40.0]))], [draw(st.sampled_from([0.0, 0.0, 25.0]))]
    for dip_step, volume_step in steps:
        dips.append(dips[-1] + dip_step)
        volumes.append(volumes[-1] + volume_step)
    return StrappingTable(tuple(dips), tuple(volumes))


def solids() -> st.SearchStrategy[Shape]:
    """Every shape whose bottom is at dip 0 and empty: all but tilted tanks and strapping tables."""
    return st.one_of(
        upright_boxes(),
        st.builds(UprightCylinder, heights, heights),
        lying_boxes(),
        ovals(),
        lying_cylinders(),
        st.builds(Moulded, st.floats(50.0, 10_000.0), heights),
    )


def shapes() -> st.SearchStrategy[Shape]:
    """Every shape there is."""
    return st.one_of(solids(), lying_cylinders(tilted=True), strapping_tables())


def least_dip(shape: Shape) -> float:
    """The least dip that a shape can tell: 0, or the first row of a table. [mm]"""
    return shape.dips_mm[0] if isinstance(shape, StrappingTable) else 0.0


@st.composite
def tanks(draw: st.DrawFn) -> Tank:
    """Tanks of every shape that has an empty bottom, with a sensor above the top."""
    shape = draw(solids())
    safe_fill = draw(st.floats(0.8, 1.0)) * shape.capacity_l
    return Tank(
        shape,
        draw(st.sampled_from(list(FUELS.values()))),
        safe_fill_l=safe_fill,
        heel_l=draw(st.floats(0.0, 0.2)) * safe_fill,
        sensor_height_mm=shape.height_mm + draw(st.floats(0.0, 300.0)),
        dead_band_mm=draw(st.sampled_from([0.0, 40.0, 230.0])),
        resolution_mm=draw(st.sampled_from([1.0, 3.0, 10.0])),
        sensor_assumed_air_c=draw(st.sampled_from([None, 15.0, 20.0])),
        location=draw(st.sampled_from(["outdoors", "shed", "indoors", "buried"])),
    )
