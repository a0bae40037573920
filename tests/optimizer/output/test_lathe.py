"""Lathe sheets: sizes against the motor and against tables, profiles in the DXF, one page a part."""

from __future__ import annotations

import csv
import io
import tomllib
from importlib import resources
from pathlib import Path

import ezdxf
import numpy as np
import pypdf
import pytest
from scenario import AFT, CASE, FORWARD, GRAINS, LINER, NOZZLE, PROPELLANT, RATE, SEAL, changed, named

from optimizer.inputs import load_motor, motor_from_document
from optimizer.output.drawing import sheets
from optimizer.output.drawing.lathe import general, recessed, tap_drill, turned_parts
from optimizer.output.drawing.lathe_sheet import deviation_text, limits_text
from optimizer.output.drawing.plates import Labels
from optimizer.vocabulary import column_of

MOTOR = "\n".join(
    (
        named("Lapwing (invented)"),
        PROPELLANT + 'reference_temperature = "20 degC"\n',
        RATE,
        GRAINS,
        NOZZLE + 'material = "graphite"\n',
        CASE,
        LINER,
        FORWARD,
        SEAL,
        changed(AFT, ("#10-24 UNC", "M5x0.8")),
    )
)
LABELS = Labels("Lapwing (invented)", "lapwing.toml", "0123456789abcdef" * 4)


def motor(**parts):
    document = tomllib.loads(MOTOR)
    for name, changes in parts.items():
        document[name] = {**document.get(name, {}), **changes}
    return motor_from_document(document, "lapwing.toml").motors


@pytest.fixture(scope="module")
def motors():
    return motor()


@pytest.fixture(scope="module")
def drawn(motors):
    """All sheets of the motor, by file name."""
    return sheets(motors, None)


def feature(parts, part, what):
    (found,) = [item for item in parts[part].features if item.what.startswith(what)]
    return found


def by_name(motors, labels=LABELS):
    return {part.name: part for part in turned_parts(motors, labels)}


class TestSizes:
    @pytest.mark.parametrize(
        ("diameter", "pitch", "metric", "drill"),
        [
            (3.0, 0.5, True, "2.5 mm"),
            (4.0, 0.7, True, "3.3 mm"),
            (5.0, 0.8, True, "4.2 mm"),
            (6.0, 1.0, True, "5 mm"),
            (8.0, 1.25, True, "6.8 mm"),
            (4.1656, 25.4 / 32, False, "#29"),
            (4.826, 25.4 / 24, False, "#25"),
            (4.826, 25.4 / 32, False, "#21"),
            (6.35, 25.4 / 20, False, "#7"),
            (6.35, 25.4 / 28, False, "#3"),
            (7.9375, 25.4 / 18, False, "F"),
        ],
    )
    def test_tap_drills_are_those_of_the_tables(self, diameter, pitch, metric, drill):
        """Tap drills of handbook tables for 75 % of a full thread, remembered; none of them is computed there."""
        assert tap_drill(diameter, pitch, metric)[0] == drill

    @pytest.mark.parametrize(
        ("size", "deviation"), [(3.0, 0.1), (6.0, 0.1), (30.0, 0.2), (120.0, 0.3), (121.0, 0.5), (1000.0, 0.8)]
    )
    def test_general_tolerances(self, size, deviation):
        """ISO 2768-1, class m; remembered."""
        assert general(size) == deviation

    def test_grooves_follow_from_the_bore(self, motors):
        """By hand: floor = bore less two glands, body = bore less two gaps."""
        parts = by_name(motors)
        bore = float(motors.case.bore[0]) * 1e3
        seal = motors.forward_closure.seal
        assert feature(parts, "forward closure", "groove floor").size == pytest.approx(bore - 2e3 * float(seal.gland_depth[0]))
        assert feature(parts, "forward closure", "outside").size == pytest.approx(bore - 2e3 * float(seal.gap[0]))

    def test_the_file_s_tolerance_goes_before_the_general_one(self):
        parts = by_name(motor(tolerances={"throat_diameter": {"plus": "0.02 mm", "minus": "0 mm"}, "wall": {"minus": "5 %"}}))
        throat = feature(parts, "nozzle", "throat")
        assert (throat.minus, throat.plus, throat.source) == (0.0, pytest.approx(0.02), "the file")
        assert deviation_text(throat, LABELS) == "+0.020 / −0.000" and limits_text(throat, LABELS) == "13.500 to 13.520"
        wall, bore = feature(parts, "case", "wall"), feature(parts, "case", "bore")
        assert (bore.minus, bore.plus) == pytest.approx((0.0, 2 * 0.05 * wall.size))

    def test_a_plate_too_thin_for_its_grooves_is_not_passed_on(self):
        two = {"cross_section": "3.53 mm", "gland_depth": "2.85 mm", "gland_width": "4.8 mm", "gap": "0.05 mm", "hardness": 70}
        ring = {"retention": "threaded-ring", "thread_diameter": "52 mm", "thread_pitch": "1.5 mm", "engagement": "10 mm"}
        document = tomllib.loads(MOTOR)
        for thickness, warned in (("9 mm", True), ("16 mm", False)):
            document["forward_closure"] = {
                **ring,
                "ring_material": "6061-T6",
                "plate_thickness": thickness,
                "seal": {**two, "rings": 2},
            }
            parts = by_name(motor_from_document(document, "x.toml").motors)
            assert bool(parts["forward plate"].warnings) is warned

    def test_every_key_is_one_of_the_motor_file(self, motors):
        for part in turned_parts(motors, LABELS):
            for item in part.features:
                if item.key and item.kind != "angle":
                    drawn = float(motors.value(column_of(item.key))[0]) * 1e3
                    assert item.text or item.size == pytest.approx(drawn), item


class TestSheets:
    def test_a_page_a_part_and_its_profile(self, motors, drawn):
        found, parts = drawn, turned_parts(motors, LABELS)
        assert len(pypdf.PdfReader(io.BytesIO(found["lathe.pdf"])).pages) == len(parts)
        for part in parts:
            drawing = ezdxf.read(io.StringIO(found[f"lathe-{part.name.replace(' ', '-')}.dxf"].decode()))
            assert drawing.units == ezdxf.units.MM and not drawing.audit().errors
            (outline,) = drawing.modelspace().query('LWPOLYLINE[layer=="PROFILE"]')
            points = np.array(outline.get_points("xy"))
            assert outline.closed and points[:, 1].min() >= 0.0
            assert points[:, 0].max() == pytest.approx(part.end - part.start) and points[:, 1].max() == pytest.approx(part.radius)

    def test_case_and_liner_read_back_at_full_size(self, drawn):
        """The numbers of the motor file: outside 57.2, wall 3.2, length 330, liner 1.6; holes 14 and 14 mm from the ends."""

        def shapes(part, layer):
            space = ezdxf.read(io.StringIO(drawn[f"lathe-{part}.dxf"].decode())).modelspace()
            return [np.array(shape.get_points("xy")) for shape in space.query(f'LWPOLYLINE[layer=="{layer}"]')]

        (tube,) = shapes("case", "PROFILE")
        assert np.allclose([tube.min(axis=0), tube.max(axis=0)], [(0.0, 25.4), (330.0, 28.6)], atol=1e-9)
        middles = sorted((hole[:, 0].min() + hole[:, 0].max()) / 2 for hole in shapes("case", "HOLES"))
        assert np.allclose(middles, [14.0, 330.0 - 14.0], atol=1e-9)
        (liner,) = shapes("liner", "PROFILE")
        assert np.ptp(liner[:, 1]) == pytest.approx(1.6) and 25.4 - 0.15 <= liner[:, 1].max() <= 25.4 - 0.05

    def test_a_thread_in_the_tube_is_cut_in_the_profile(self):
        """By hand: depth of a full thread 0.6495 pitches, so that 52 x 1.5 is bored to 50.05 mm."""
        ring = {"retention": "threaded-ring", "thread_diameter": "52 mm", "thread_pitch": "1.5 mm", "engagement": "10 mm"}
        document = tomllib.loads(MOTOR)
        document["forward_closure"] = {**ring, "ring_material": "6061-T6", "plate_thickness": "16 mm"}
        case = by_name(motor_from_document(document, "x.toml").motors)["case"]
        (bored,) = [item for item in case.features if item.what == "forward thread, bored to Ø"]
        assert bored.size == pytest.approx(52 - 2 * 0.6495 * 1.5, abs=1e-3)
        cut = np.array(case.holes[0])
        assert cut[:, 0].max() == pytest.approx(10.0) and cut[:, 1].max() == pytest.approx(26.0)

    def test_the_table_to_fill_has_the_file_s_keys(self, motors, drawn):
        rows = list(csv.DictReader(io.StringIO(drawn["as-measured.csv"].decode())))
        assert list(rows[0]) == ["key", "value", "unit", "drawn", "part"]
        drawn = {row["key"]: float(row["drawn"]) for row in rows}
        assert drawn["case.wall"] == pytest.approx(float(motors.case.wall[0]) * 1e3)
        assert not any(row["value"] for row in rows)

    def test_a_groove_is_cut_where_it_lies(self):
        assert recessed([(0.0, 5.0), (10.0, 5.0)], 2.0, 4.0, 3.0) == [
            (0.0, 5.0), (2.0, 5.0), (2.0, 3.0), (4.0, 3.0), (4.0, 5.0), (10.0, 5.0),
        ]  # fmt: skip
        assert recessed([(0.0, 4.0), (8.0, 0.0)], 0.0, 4.0, 6.0) == [(0.0, 6.0), (4.0, 6.0), (4.0, 2.0), (8.0, 0.0)]


STUDIES = Path(__file__).resolve().parents[3] / "studies" / "motors"


@pytest.mark.parametrize("file", [*sorted(STUDIES.glob("*.toml")), resources.files("optimizer.starter") / "motor.toml"], ids=str)
def test_a_motor_that_others_start_from_can_be_made(file):
    """No sheet of a motor that comes with the project says "do not make it so"."""
    for part in turned_parts(load_motor(file).motors, LABELS):
        assert not part.warnings, part.name
