"""The batch of candidate motors: the one input type of the kernel.

Owns the dataclasses that carry a batch of motors as columns. Every leaf is a float64 array in SI units that
broadcasts to ``(n,)``, where ``n`` is the number of motors in the batch; leaves of `Grains` broadcast to ``(n, rows)``
and the rows of the burning-rate law to ``(n, rate rows)``. A single motor is a batch of one. Choices that are not
numbers (materials, kinds of retention) are one for the whole batch. Field names are the keys of the motor file, so a
dotted key such as ``case.wall`` names a column wherever one is meant: in a search, a tolerance or a comparison.

Imports numpy only.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from physics.failure.scatter import Certainty
    from physics.materials import Material

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Propellant:
    """A characterised propellant; the rate law is piecewise Saint-Robert, r = rate·(p/at)^exponent in each row.

    Units: density kg/m3, characteristic_velocity m/s, gamma -, molar_mass kg/mol, temperatures K,
    temperature_sensitivity 1/K, pressures Pa, rate m/s, strength Pa (crushing strength of the grain, NaN if unknown),
    expansion 1/K (linear, of the cured grain).
    `rate_from`, `rate_to`, `rate`, `rate_at`, `exponent` broadcast to (n, K), rows in order of pressure.
    `characterised_from` and `characterised_to` are the ends of the rows, (n,).
    """

    density: Array
    characteristic_velocity: Array
    gamma: Array
    molar_mass: Array
    rate_from: Array
    rate_to: Array
    rate: Array
    rate_at: Array
    exponent: Array
    reference_temperature: Array
    temperature_sensitivity: Array
    erosive: str = "none"
    erosive_constants: Mapping[str, Any] = field(default_factory=dict)
    strength: Array | None = None
    expansion: Array | None = None
    name: str = ""


@dataclass(frozen=True)
class Grains:
    """Rows of equal cored grains, head end first, all leaves (n, rows); a row of count 0 is absent.

    Lengths and diameters in m; `burning_ends` is 0, 1 or 2 bare end faces; the outside is inhibited. A core of zero
    with a bare end is an end burner. Of one bare face `forward_bare` says which: 1 the forward one, 0 the aft one.
    `forward_covered_to` and `aft_covered_to` (m): a cap covers that face from the outside in to this diameter, whatever
    `burning_ends` says of it; NaN where a row has no such cap, None where no row has.
    """

    count: Array
    length: Array
    outer_diameter: Array
    core_diameter: Array
    burning_ends: Array
    forward_bare: Array = field(default_factory=lambda: np.zeros((1, 1)))
    forward_covered_to: Array | None = None
    aft_covered_to: Array | None = None

    @property
    def caps(self) -> bool:
        """Whether a cap on any face is told of; by definition."""
        return self.forward_covered_to is not None or self.aft_covered_to is not None

    @property
    def bare_faces(self) -> tuple[Array, Array]:
        """Whether the forward and the aft face of each row are wholly bare, 1 or 0, (n, rows) each. [-] By definition."""
        one = np.where(np.asarray(self.burning_ends) == 1.0, self.forward_bare, 0.0)
        forward = np.where(np.asarray(self.burning_ends) > 1.5, 1.0, one)
        aft = np.asarray(np.minimum(self.burning_ends - forward, 1.0))
        for_caps = ((forward, self.forward_covered_to), (aft, self.aft_covered_to))
        forward, aft = (face if to is None else np.where(np.isnan(to), face, to >= self.outer_diameter) for face, to in for_caps)
        return np.asarray(forward, dtype=float), np.asarray(aft, dtype=float)

    @property
    def open_to(self) -> tuple[Array, Array]:
        """Diameter up to which the forward and the aft face of each row burn from the start, (n, rows) each.

        Returns
        -------
        forward, aft : Array
            The outer diameter where the face is bare, that of the core where it is inhibited, between the two where a cap
            covers it in part. [m]

        Notes
        -----
        By definition; a cap that reaches into the core or beyond the grain counts as ending there.
        """
        found = []
        for bare, to in zip(self.bare_faces, (self.forward_covered_to, self.aft_covered_to), strict=True):
            plain = np.where(bare > 0.5, self.outer_diameter, self.core_diameter)
            covered = plain if to is None else np.where(np.isnan(to), plain, to)
            found.append(np.minimum(np.maximum(covered, self.core_diameter), self.outer_diameter))
        return found[0], found[1]

    @property
    def burning_faces(self) -> tuple[Array, Array]:
        """Whether anything of the forward and the aft face burns from the start, 1 or 0, (n, rows) each. [-] By definition."""
        forward, aft = self.open_to
        return np.where(forward > self.core_diameter, 1.0, 0.0), np.where(aft > self.core_diameter, 1.0, 0.0)

    def mapped(self, change: Callable[[Array], Array]) -> Grains:
        """The same rows with every leaf that there is changed, in its own unit (SI).

        Parameters
        ----------
        change : callable
            Takes a leaf and gives the changed one.

        Returns
        -------
        Grains
            The changed rows, SI.
        """
        leaves: dict[str, Any] = {name: None if leaf is None else change(np.asarray(leaf)) for name, leaf in vars(self).items()}
        return Grains(**leaves)


def as_column(leaf: Any, size: int) -> Array:
    """A leaf of any unit (SI) as one value for each of `size` motors, free to be written to; by definition of a batch.

    Parameters
    ----------
    leaf : Any
        A number or (size,), any unit (SI).
    size : int
        Number of motors.

    Returns
    -------
    Array
        (size,), in the unit of `leaf`.
    """
    return np.array(np.broadcast_to(np.asarray(leaf, dtype=float), (size,)))


@dataclass(frozen=True)
class Nozzle:
    """Conical nozzle: diameters m, half_angle rad, efficiency on the momentum term, throat_recession m/s of radius.

    `length_in_case` (m) runs from the last grain to the aft ring's forward face, without a ring to the case's end.
    """

    throat_diameter: Array
    exit_diameter: Array
    half_angle: Array
    efficiency: Array
    throat_recession: Array
    throat_recession_at: Array
    material: Material | None = None
    seat_diameter: Array | None = None
    insert_diameter: Array | None = None
    insert_length: Array | None = None
    length_in_case: Array | None = None
    seal: Seal | None = None


@dataclass(frozen=True)
class Case:
    """Tube: lengths m, service_temperature K. `heat_affected_reach` (m) is measured from `heat_affected_end`."""

    material: Material
    outer_diameter: Array
    wall: Array
    length: Array | None = None
    service_temperature: Array | None = None
    heat_affected: bool = False
    heat_affected_end: str = "both"
    heat_affected_reach: Array | None = None

    @property
    def bore(self) -> Array:
        """Inside diameter: the outer less two walls, by definition. [m]"""
        return self.outer_diameter - 2.0 * self.wall


@dataclass(frozen=True)
class LinerFactors:
    """What tests have measured of a liner, by place: the depth lost over the depth predicted [-], (n,), None where unmeasured.

    `wall` is that behind the grains. `…_within`: by what factor either way the depth may still be off [-], over 1.
    """

    forward: Array | None = None
    joint: Array | None = None
    aft: Array | None = None
    wall: Array | None = None
    forward_within: Array | None = None
    joint_within: Array | None = None
    aft_within: Array | None = None
    wall_within: Array | None = None


@dataclass(frozen=True)
class Liner:
    """Sleeve between grain and case: thickness m.

    Bare lengths of the case (m, 0 where none): `gap_forward`, `gap_joint`, `gap_aft`, and `gap` where it is not known at
    which of the three it lies. `gap_flow` names the places ("forward end", "joint", "aft end", "unknown") of the gaps that
    gas can pass to somewhere, `gap_behind` is the room between liner and case (m). `decomposition_temperature` K,
    `heat_of_ablation` J/kg (sensible heat included) and the measured `regression_rate` (m/s at `regression_at` Pa, with its
    power `regression_exponent`) stand in place of the material's own. `measured` corrects the depth that all this gives at
    a place. `expansion` 1/K is linear, round the sleeve.
    """

    material: Material
    thickness: Array
    gap: Array | None = None
    gap_forward: Array | None = None
    gap_joint: Array | None = None
    gap_aft: Array | None = None
    gap_flow: tuple[str, ...] = ()
    gap_behind: Array | None = None
    decomposition_temperature: Array | None = None
    heat_of_ablation: Array | None = None
    regression_rate: Array | None = None
    regression_at: Array | None = None
    regression_exponent: Array | None = None
    expansion: Array | None = None
    measured: LinerFactors | None = None


@dataclass(frozen=True)
class Screws:
    """Radial screws of one closure. Lengths m, strengths Pa, `metric` and `threads_in_plane` 1.0 or 0.0.

    `kind` is "set screw", "cap screw", "button head", "pan head" or empty; the socket is that of a set screw, from its outer end.
    """

    diameter: Array
    pitch: Array
    metric: Array
    tensile_strength: Array
    count: Array
    edge_distance: Array | None
    hole_diameter: Array
    threads_in_plane: Array
    load_sharing: Array
    fitting_factor: Array
    ring_edge_distance: Array | None = None
    ring_thickness: Array | None = None
    flush_length: Array | None = None
    socket_depth: Array | None = None
    socket_across_flats: Array | None = None
    kind: str = ""
    designation: str = ""
    grade: str = ""


@dataclass(frozen=True)
class ThreadedRing:
    """Threaded retaining ring: major diameter m, pitch m, engagement m (loaded length), `width` m from its opening to the
    crests of its thread.
    """

    thread_diameter: Array
    thread_pitch: Array
    engagement: Array
    width: Array | None = None


@dataclass(frozen=True)
class SnapRing:
    """Internal snap ring: groove_depth, ring_thickness, edge_margin (groove to case end) m; ring shear strength Pa."""

    groove_depth: Array
    ring_thickness: Array
    edge_margin: Array
    ring_shear_strength: Array | None = None


@dataclass(frozen=True)
class WeldedLip:
    """A lip welded into the tube by a fillet from one side, on its outer face. Lengths m.

    `leg` of the fillet; `arm` from the middle of the wall to the circle on which the closure pushes the lip; `thickness` of the
    lip along the axis; `distance` from the lip's outer face to the end of the case, at the end where not given. `metal_strength`
    Pa of the weld metal that `filler` names.
    """

    leg: Array
    arm: Array
    thickness: Array | None = None
    distance: Array | None = None
    metal_strength: Array | None = None
    filler: str = ""


@dataclass(frozen=True)
class Seal:
    """O-ring seal: lengths m, hardness Shore A. `gap` is the radial gap at rest; `diameter` the sealed diameter.

    `rings` are so many equal rings. `behind` is another ring of the same part, which gas reaches when this one has let go;
    `from_gas` is the way from the part's gas side to the near wall of this gland.
    """

    rings: Array
    cross_section: Array
    gland_depth: Array
    gap: Array
    hardness: Array
    gland_width: Array | None = None
    inner_diameter: Array | None = None
    diameter: Array | None = None
    backup_rings: Array | None = None
    material: Material | None = None
    from_gas: Array | None = None
    name: str = ""
    behind: Seal | None = None

    @property
    def series(self) -> tuple[Seal, ...]:
        """The ring and those behind it, the one nearest the gas first; lengths m, as they are given."""
        return (self, *(() if self.behind is None else self.behind.series))


@dataclass(frozen=True)
class Plug:
    """A plug screwed through a plate: lengths m; `offset` of its axis from the plate's, in the middle where not given."""

    thread_diameter: Array
    thread_pitch: Array
    engagement: Array | None = None
    offset: Array | None = None
    material: Material | None = None
    seal: Seal | None = None
    thread: str = ""


@dataclass(frozen=True)
class Closure:
    """One closure, forward or aft. Exactly one of `screws`, `threaded_ring`, `snap_ring`, `welded_lip` is set, by `retention`.

    `bearing_diameter` (m) is the circle on which a ring of its own bears against the plate.
    """

    retention: str
    screws: Screws | None = None
    threaded_ring: ThreadedRing | None = None
    snap_ring: SnapRing | None = None
    welded_lip: WeldedLip | None = None
    ring_material: Material | None = None
    plate_material: Material | None = None
    plate_thickness: Array | None = None
    shoulder_thickness: Array | None = None
    mass: Array | None = None
    seal: Seal | None = None
    bearing_diameter: Array | None = None
    plug: Plug | None = None


@dataclass(frozen=True)
class Airframe:
    """What the motor must go into: m; `clearance` on the diameter."""

    inner_diameter: Array
    clearance: Array
    length: Array | None = None


@dataclass(frozen=True)
class Rocket:
    """What flies, without the motor: mass kg, diameter m, positions m from the nose's tip.

    `drag_coefficient` is (n,), or (n, K) at the Mach numbers `drag_mach` (n, K); `drag_coefficient_thrusting` the same
    while the motor burns. `motor_end` is where the motor's nozzle end lies; `skin_limit` K.
    """

    mass: Array
    diameter: Array
    drag_coefficient: Array
    drag_mach: Array | None = None
    drag_coefficient_thrusting: Array | None = None
    centre_of_mass: Array | None = None
    motor_end: Array | None = None
    centre_of_pressure: Array | None = None
    skin_limit: Array | None = None


@dataclass(frozen=True)
class Launch:
    """Where it starts: guided travel `rail_length` m, `elevation` above the horizon rad, `altitude` of the site m."""

    rail_length: Array
    elevation: Array
    altitude: Array


@dataclass(frozen=True)
class Startup:
    """How fast the flame runs along the grains from the head end, `spread_speed` m/s; the builder's own number."""

    spread_speed: Array


@dataclass(frozen=True)
class Weighed:
    """What the scales say: the motor without propellant, `empty`, kg."""

    empty: Array


@dataclass(frozen=True)
class Ambient:
    """Surroundings: pressure Pa, temperature K (of the propellant too), soak temperatures K, shape (n, s) or (1, s)."""

    pressure: Array
    temperature: Array
    soak: Array


@dataclass(frozen=True)
class Use:
    """One entry of the log: what was done ("new": nothing yet), how often, and what it showed after it.

    Lengths m, pressure Pa on the gauge, None where it was not measured. `hole_growth` is along the axis, the largest of `end`.
    """

    what: str
    count: int
    pressure: float | None = None
    outer_diameter: float | None = None
    hole_growth: float | None = None
    end: str = ""
    throat_diameter: float | None = None


@dataclass(frozen=True)
class Tolerance:
    """Scatter of one column: bounds `minus`, `plus` (both positive) or a standard deviation; relative or SI."""

    minus: float = 0.0
    plus: float = 0.0
    standard_deviation: float = 0.0
    relative: bool = False

    @property
    def reach(self) -> tuple[float, float]:
        """Lower and upper reach from nominal (both positive), three standard deviations where no bound is given."""
        three_sigma = 3.0 * self.standard_deviation
        return (self.minus or three_sigma, self.plus or three_sigma)


@dataclass(frozen=True)
class Motors:
    """A batch of ``size`` motors; the parts that a file leaves out are None for the whole batch. `wear` is the log of one set of
    hardware.
    """

    size: int
    propellant: Propellant
    grain: Grains
    nozzle: Nozzle
    ambient: Ambient
    case: Case | None = None
    liner: Liner | None = None
    forward_closure: Closure | None = None
    aft_closure: Closure | None = None
    airframe: Airframe | None = None
    rocket: Rocket | None = None
    launch: Launch | None = None
    masses: Weighed | None = None
    startup: Startup | None = None
    factors: Mapping[str, float] = field(default_factory=dict)
    tolerances: Mapping[str, Tolerance] = field(default_factory=dict)
    wear: tuple[Use, ...] = ()

    def value(self, key: str) -> Any:
        """The leaf named by a dotted key, or None where the part or the leaf is absent.

        Parameters
        ----------
        key : str
            Dotted key of the column.

        Returns
        -------
        Any
            The leaf in its own unit (SI), or None.
        """
        place: Any = self
        for name in key.split("."):
            if place is None:
                return None
            if not hasattr(place, name):
                raise KeyError(f"no column {key!r}: {type(place).__name__} has no field {name!r}")
            place = getattr(place, name)
        return place

    def with_values(self, values: Mapping[str, Any]) -> Motors:
        """A copy with columns replaced; (n,) values for a grain column are given to every row.

        Parameters
        ----------
        values : Mapping of str to Any
            Values in SI by dotted key.

        Returns
        -------
        Motors
            The copy.

        Raises
        ------
        KeyError
            For a key that names no column or a part that this batch does not have.
        ValueError
            For a shape that does not broadcast to the batch.
        """
        changed: Motors = self
        for key, value in values.items():
            changed = _replaced(changed, key.split("."), self._shaped(key, value), key)
        return changed

    def _shaped(self, key: str, value: Any) -> Any:
        if isinstance(value, str) or value is None or is_dataclass(value) or key == "size":
            return value
        array = np.asarray(value, dtype=float)
        by_row = key.startswith("grain.") or key in RATE_COLUMNS
        if by_row and array.ndim == 1:
            array = array[:, None]
        if array.ndim and array.shape[0] not in (1, self.size):
            raise ValueError(f"{key}: {array.shape[0]} values for a batch of {self.size}")
        return array

    def take(self, index: Any) -> Motors:
        """The motors at `index` (integers, a slice or a mask) as a batch of their own.

        Parameters
        ----------
        index : Any
            Integers, a slice or a mask.

        Returns
        -------
        Motors
            The batch of those motors.
        """
        picked = np.arange(self.size)[index]
        picked = np.atleast_1d(picked)
        motors: Motors = _mapped(self, lambda leaf: leaf[picked] if leaf.ndim and leaf.shape[0] == self.size else leaf, picked.size)
        return motors

    def repeat(self, times: int) -> Motors:
        """A batch with every motor `times` over, copies of one motor next to each other.

        Parameters
        ----------
        times : int
            Copies of each motor.

        Returns
        -------
        Motors
            The batch, `times` as many motors.
        """
        if self.size > 1:
            return self.take(np.repeat(np.arange(self.size), times))
        motors: Motors = _mapped(
            self, lambda leaf: np.repeat(leaf, times, axis=0) if leaf.ndim and leaf.shape[0] == 1 else leaf, times
        )
        return motors


RATE_COLUMNS = frozenset(f"propellant.{name}" for name in ("rate_from", "rate_to", "rate", "rate_at", "exponent"))


def _replaced(part: Any, path: Sequence[str], value: Any, key: str) -> Any:
    name, rest = path[0], path[1:]
    if part is None:
        raise KeyError(f"no column {key!r}: this motor has no part that holds {name!r}")
    if not hasattr(part, name):
        raise KeyError(f"no column {key!r}: {type(part).__name__} has no field {name!r}")
    return replace(part, **{name: _replaced(getattr(part, name), rest, value, key) if rest else value})


def _mapped(part: Any, change: Any, size: int) -> Any:
    """A copy of a dataclass tree with `change` applied to every array leaf."""
    new: dict[str, Any] = {}
    for item in fields(part):
        leaf = getattr(part, item.name)
        if isinstance(leaf, np.ndarray):
            new[item.name] = change(leaf)
        elif dataclasses.is_dataclass(leaf) and type(leaf).__module__ == __name__ and not isinstance(leaf, Tolerance):
            new[item.name] = _mapped(leaf, change, size)
    if isinstance(part, Motors):
        new["size"] = size
    return replace(part, **new)


@dataclass(frozen=True)
class Curve:
    """Histories along the burn, each (n, T); `time` rises along the last axis and NaN pads what has ended."""

    time: Array
    chamber_pressure: Array
    head_pressure: Array
    thrust: Array
    mass_flow: Array
    kn: Array
    mass_flux: Array
    regression: Array
    throat_diameter: Array


@dataclass(frozen=True)
class Figures:
    """What a kernel says of a batch.

    `values` maps a figure's name to an (n,) array in SI; `flags` maps a condition's name to an (n,) bool array.
    Both kernels give the same names; they are listed in `physics.figures.FIGURES` and `physics.ballistics.kernel.FLAGS`.
    """

    values: Mapping[str, Array]
    flags: Mapping[str, NDArray[np.bool_]]
    kernel: str
    curve: Curve | None = None

    def __getitem__(self, name: str) -> Array:
        return self.values[name]

    def take(self, rows: Any) -> Figures:
        """The figures of the motors at `rows` (integers or a mask), histories included.

        Parameters
        ----------
        rows : Any
            Integers or a mask.

        Returns
        -------
        Figures
            The figures of those motors.
        """
        curve = self.curve
        if curve is not None:
            curve = replace(curve, **{item.name: getattr(curve, item.name)[rows] for item in fields(curve)})
        values = {name: column[rows] for name, column in self.values.items()}
        return replace(self, values=values, flags={name: flag[rows] for name, flag in self.flags.items()}, curve=curve)


@dataclass(frozen=True)
class Situation:
    """What a failure mode may need beside the motor: the end it sits at, and how the motor burns.

    `end` is "forward", "aft" or "" (the mode belongs to no end). `figures` is None where only the structure is asked
    about; modes that need it are then not assessed. `maximum_expected_pressure` in Pa, (n,). `kept` holds what modes
    worked out for this batch under these figures; situations of one ladder share it. `until` is how many action times a
    time matters for: a mode may give inf for what comes later; None where every time is asked for. `enough`, in Pa, (n,),
    says the same of pressures that heat brings down, None where every one is asked for. `short` is the factor below which a
    value has failed and need not be the lowest, None where the lowest is asked for. `places` are the only ones to be looked
    at, None for all.
    """

    end: str = ""
    figures: Figures | None = None
    maximum_expected_pressure: Array | None = None
    kept: dict[str, Any] = field(default_factory=dict, compare=False, repr=False)
    until: float | None = None
    enough: Array | None = None
    short: float | None = None
    places: tuple[str, ...] | None = None


@dataclass(frozen=True)
class Rung:
    """One failure mode of one part over the batch.

    Exactly one of `pressure` (head-end pressure at which it happens, Pa, (n,)) and `time` (s from ignition, (n,), inf
    where it does not happen) is set: that of the worst corner of the tolerances. `nominal` is the same for the motor as
    drawn. `factor` is the distance to what is expected, `required` the factor asked for (0: nothing is asked). `kind` is
    one of `physics.failure.ladder.KINDS`, `certainty` how sure the rung is. Of a single motor's heat rung, `place` is where it
    governs, and `ends` the times [s] by which it has let go in 5 and 95 of 100.
    """

    mode: str
    part: str
    kind: str
    basis: str
    pressure: Array | None
    time: Array | None
    factor: Array
    required: Array
    note: str = ""
    certainty: Certainty | None = None
    nominal: Array | None = None
    ends: tuple[Array, Array] | None = None
    place: str | None = None

    @property
    def ok(self) -> NDArray[np.bool_]:
        """Whether the factor reaches what is required; NaN never passes. Where 0 is required, nothing is asked."""
        return np.asarray((self.factor >= self.required) | (np.asarray(self.required) == 0.0))

    @property
    def likely(self) -> Array:
        """Median pressure [Pa] or time [s] at which it happens as drawn, (n,); definition, ratio by `physics.failure.scatter`."""
        ratio = 1.0 if self.certainty is None else self.certainty.ratio
        worst = self.time if self.pressure is None else self.pressure
        return np.asarray(ratio * np.asarray(worst if self.nominal is None else self.nominal))

    @property
    def scatter(self) -> float:
        """Standard deviation of the logarithm of the pressure or time. [-]"""
        return 0.0 if self.certainty is None else self.certainty.scatter

    @property
    def band(self) -> tuple[Array, Array]:
        """Pressures [Pa] or times [s] by which 5 % and 95 % of such parts have let go, (n,) each; by definition."""
        if self.ends is not None:
            return self.ends
        reach = 1.0 if self.certainty is None else self.certainty.reach
        return np.asarray(self.likely / reach), np.asarray(self.likely * reach)

    @property
    def rests_on(self) -> str:
        """The weakest status of all that the rung uses."""
        return "judgement" if self.certainty is None else self.certainty.rests_on


@dataclass(frozen=True)
class NotAssessed:
    """A mode that could not be computed, and why (the missing key, the range left)."""

    mode: str
    part: str
    why: str


@dataclass(frozen=True)
class Ladder:
    """All rungs of a batch in the order of the table of modes, and what was not assessed."""

    rungs: tuple[Rung, ...]
    not_assessed: tuple[NotAssessed, ...]
