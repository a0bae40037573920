"""The drawings measured: holes in PDF and DXF against the motor, page sizes, check bars, tiles, lists, sheets."""

from __future__ import annotations

import io
import math
import os
import re
import shutil
import subprocess
import tomllib
from dataclasses import replace
from types import SimpleNamespace
from typing import Any
from xml.etree import ElementTree

import ezdxf
import numpy as np
import pypdf
import pytest
from effort import examples
from hypothesis import given, settings
from hypothesis import strategies as st
from scenario import AFT, CASE, FORWARD, GRAINS, LINER, NOZZLE, PROPELLANT, RATE, SEAL, changed, named
from scipy.optimize import brentq

from optimizer.inputs import motor_from_document
from optimizer.inputs.stock import read_stock
from optimizer.ladder_view import ladder_rows
from optimizer.output.drawing import cuts, draw, sheets, shopping
from optimizer.output.drawing.geometry import Wrap, section, wrap
from optimizer.output.drawing.lathe import turned_parts
from optimizer.output.drawing.plates import Labels
from optimizer.output.drawing.proof_sheet import evidence_lines, proof_sheets
from optimizer.output.drawing.review import figure_rows, review_sheets
from optimizer.output.drawing.section_sheet import best_scale, scale_text
from optimizer.output.drawing.sheet import PAPERS, Sheet, fitted, pdf_bytes, printable, width_of, wrapped
from optimizer.output.drawing.stand import quickest, stand, sticker_wait
from optimizer.output.drawing.stand_sheet import stand_sheet
from optimizer.output.drawing.wrap_sheet import origin, tiling, wrap_sheets
from physics.assessment import assess
from physics.failure.case import end_load_area, plain_end_load_area
from physics.failure.proof import GAUGE_ERROR
from physics.motors import Ladder, Motors, NotAssessed

MOTOR = "\n" + "".join(
    (
        named("Lapwing (invented)"),
        PROPELLANT + 'reference_temperature = "20 degC"\n',
        RATE,
        changed(GRAINS, ("count = 3", "count = 4")),
        NOZZLE + 'material = "graphite"\n',
        changed(CASE, ("330 mm", "420 mm")),
        LINER,
        FORWARD + 'plate_material = "6061-T6"\n',
        SEAL,
        changed(
            AFT,
            ("#10-24 UNC", "M5x0.8"),
            ("count = 8", "count = 6"),
            ("14 mm", "11 mm"),
            ('plate_thickness = "12 mm"\n', ""),
        ),
    )
)

LABELS = Labels("Lapwing (invented)", "lapwing.toml", "0123456789abcdef" * 4)


def motor(**parts: Any) -> Motors:
    document = tomllib.loads(MOTOR)
    for name, changes in parts.items():
        if changes is None:
            del document[name]
        else:
            document[name] = {**document.get(name, {}), **changes}
    return motor_from_document(document, "lapwing.toml").motors


@pytest.fixture(scope="module")
def motors() -> Motors:
    return motor()


@pytest.fixture(scope="module")
def bare_sheets(motors) -> dict[str, bytes]:
    return sheets(motors, None)


@pytest.fixture(scope="module")
def assessment(motors):
    return assess(motors, "steady", curve=True)


def needed(program: str) -> str:
    """A program of the machine, or a skip that says so; with GRAINWRIGHT_TEST_ALL=1 it must be there."""
    found = shutil.which(program)
    if found is None:
        (pytest.fail if os.environ.get("GRAINWRIGHT_TEST_ALL") == "1" else pytest.skip)(f"{program} is not installed")
    return str(found)


def circles(page: pypdf.PageObject, diameter: float) -> list[tuple[float, float]]:
    """Centres of the circles of a diameter on a PDF page, in mm from its lower left corner, from its path operators."""
    found, points, curves = [], [], 0
    for operands, operator in pypdf.generic.ContentStream(page.get_contents(), page.pdf).operations:
        if operator == b"m":
            points, curves = [tuple(map(float, operands))], 0
        elif operator == b"c":
            points.append(tuple(map(float, operands[4:])))
            curves += 1
        elif operator in (b"S", b"s", b"B", b"b", b"f", b"n") and curves >= 4:
            xs, ys = zip(*points, strict=True)
            width = (max(xs) - min(xs)) * 25.4 / 72
            if abs(width - diameter) < 0.01:
                found.append(((max(xs) + min(xs)) / 2 * 25.4 / 72, (max(ys) + min(ys)) / 2 * 25.4 / 72))
            points, curves = [], 0
    return found


class TestWrap:
    """Where the holes are: on paper, in the DXF and in the motor the same."""

    def test_holes_follow_from_the_motor(self, motors):
        shape = wrap(motors, "forward")
        assert shape.circumference == pytest.approx(math.pi * 57.2)
        assert [y for _, y in shape.holes] == pytest.approx([14.0] * 8)
        gaps = np.diff([x for x, _ in shape.holes])
        assert gaps == pytest.approx(math.pi * 57.2 / 8)
        assert shape.holes[0][0] == pytest.approx(shape.pitch / 2)
        assert shape.circumference - shape.holes[-1][0] == pytest.approx(shape.pitch / 2)
        # derived: the chord of 45 degrees on a circle of 57.2 mm
        assert shape.chord == pytest.approx(2 * 28.6 * math.sin(math.radians(22.5)))

    def test_each_end_has_its_own(self, motors):
        assert len(wrap(motors, "aft").holes) == 6
        assert wrap(motors, "aft").edge_distance == pytest.approx(11.0)

    def test_no_wrap_without_screws(self):
        assert wrap(motor(aft_closure=None), "aft") is None

    def test_a_missing_edge_distance_is_named(self, motors):
        screws = replace(motors.forward_closure.screws, edge_distance=None)
        bare = replace(motors, forward_closure=replace(motors.forward_closure, screws=screws))
        with pytest.raises(ValueError, match=r"forward_closure\.edge_distance is not given"):
            wrap(bare, "forward")

    @pytest.mark.parametrize("end", ["forward", "aft"])
    @pytest.mark.parametrize("paper", ["A4", "Letter"])
    def test_pdf_holes_are_within_a_tenth_of_a_millimetre(self, motors, end, paper):
        shape = wrap(motors, end)
        reader = pypdf.PdfReader(io.BytesIO(pdf_bytes(wrap_sheets(shape, LABELS, paper), "wrap")))
        tiles = tiling(shape, paper)
        box = reader.pages[0].mediabox
        assert float(box.width) * 25.4 / 72 == pytest.approx(tiles.width, abs=0.1)
        assert float(box.height) * 25.4 / 72 == pytest.approx(tiles.height, abs=0.1)
        assert sorted([tiles.width, tiles.height]) == sorted(PAPERS[paper])
        x0, y0 = origin(shape, tiles)
        found = sorted(circles(reader.pages[0], shape.hole_diameter))
        assert len(found) == len(shape.holes)
        for (x, y), (hole_x, hole_y) in zip(found, shape.holes, strict=True):
            assert (x - x0, y - y0) == pytest.approx((hole_x, hole_y), abs=0.01)

    def test_check_bars_measure_50_mm_and_2_in_on_the_printed_page(self, motors, tmp_path):
        pdftoppm = needed("pdftoppm")
        path = tmp_path / "wrap.pdf"
        path.write_bytes(pdf_bytes(wrap_sheets(wrap(motors, "forward"), LABELS), "wrap"))
        subprocess.run([pdftoppm, "-r", "508", "-gray", "-singlefile", path, tmp_path / "page"], check=True)
        raw = (tmp_path / "page.pgm").read_bytes()
        header = re.match(rb"P5\s+(\d+)\s+(\d+)\s+255\s", raw)
        width, height = int(header[1]), int(header[2])
        ink = np.frombuffer(raw[header.end() :], np.uint8).reshape(height, width) < 128
        per_mm = 508 / 25.4

        def reach(x: float, y: float, along: bool) -> float:
            """From the first to the last tick, beside the bar's own line, starting near a place in mm."""
            if along:
                row = ink[height - round((y + 0.9) * per_mm), round((x - 2) * per_mm) : round((x + 54) * per_mm)]
            else:
                row = ink[height - round((y + 54) * per_mm) : height - round((y - 2) * per_mm), round((x + 0.9) * per_mm)]
            places = np.flatnonzero(row)
            return (places[-1] - places[0]) / per_mm

        for step, size in enumerate((50.0, 50.8)):
            # From the outer edge of one tick to that of the other: the ticks are 0.2 mm wide.
            assert reach(12.0, 29.0 + 6 * step, True) == pytest.approx(size + 0.2, abs=0.1)
            assert reach(12.0 + 6 * step, 43.0, False) == pytest.approx(size + 0.2, abs=0.1)

    def test_dxf_reads_back_with_the_same_holes(self, motors, bare_sheets, tmp_path):
        shape = wrap(motors, "forward")
        path = tmp_path / "wrap.dxf"
        path.write_bytes(bare_sheets["wrap-forward.dxf"])
        document = ezdxf.readfile(path)
        assert document.dxfversion == "AC1024"  # R2010
        assert document.units == ezdxf.units.MM
        assert not document.audit().errors
        assert {"DRILL", "OUTLINE", "TEXT"} <= {layer.dxf.name for layer in document.layers}
        drawn = [item for item in document.modelspace().query("CIRCLE") if item.dxf.layer == "DRILL"]
        centres = sorted((item.dxf.center.x, item.dxf.center.y) for item in drawn)
        assert np.array(centres) == pytest.approx(np.array(shape.holes), abs=1e-6)
        assert {round(2 * item.dxf.radius, 6) for item in drawn} == {round(shape.hole_diameter, 6)}
        outline = next(iter(document.modelspace().query("LWPOLYLINE[layer=='OUTLINE']")))
        assert max(x for x, *_ in outline.get_points()) == pytest.approx(math.pi * 57.2)

    def test_a_wide_tube_is_tiled_and_no_hole_is_lost(self):
        shape = wrap(motor(case={"outer_diameter": "152 mm"}, forward_closure={"count": 24}), "forward")
        tiles = tiling(shape, "A4")
        assert len(tiles.ranges) > 1
        assert tiles.ranges[0][0] == 0.0
        assert tiles.ranges[-1][1] >= shape.circumference
        for before, after in zip(tiles.ranges, tiles.ranges[1:], strict=False):
            assert before[1] - after[0] >= tiles.overlap - 1e-9
        reader = pypdf.PdfReader(io.BytesIO(pdf_bytes(wrap_sheets(shape, LABELS), "wrap")))
        assert len(reader.pages) == len(tiles.ranges)
        seen: set[int] = set()
        for page, (start, stop) in enumerate(tiles.ranges):
            x0, y0 = origin(shape, tiles, page)
            for x, y in circles(reader.pages[page], shape.hole_diameter):
                assert start <= x - x0 <= stop
                assert y - y0 == pytest.approx(shape.edge_distance, abs=0.01)
                seen.add(round((x - x0) / shape.pitch - 0.5))
                assert (x - x0) / shape.pitch - 0.5 == pytest.approx(round((x - x0) / shape.pitch - 0.5), abs=1e-3)
        assert seen == set(range(24))
        assert "A" in reader.pages[0].extract_text() and "A" in reader.pages[1].extract_text()

    @given(
        outer=st.floats(20.0, 400.0),
        count=st.integers(1, 40),
        edge=st.floats(4.0, 100.0),
        hole=st.floats(1.0, 14.0),
        paper=st.sampled_from(["A4", "Letter"]),
    )
    @settings(max_examples=examples(150, 40), deadline=None)
    def test_every_hole_is_whole_on_some_sheet(self, outer, count, edge, hole, paper):
        around = math.pi * outer
        holes = tuple(((k + 0.5) * around / count, edge) for k in range(count))
        shape = Wrap("forward", around, outer, edge, hole, holes, "", None)
        tiles = tiling(shape, paper)
        for x, _ in holes:
            # A hole wider than half a pitch may reach past the seam; there its rim is on the tab.
            left, right = max(x - hole / 2, 0.0), x + hole / 2
            assert any(start <= left and right <= stop for start, stop in tiles.ranges)
        assert all(stop - start <= tiles.width - 20.0 for start, stop in tiles.ranges)

    def test_an_edge_distance_longer_than_the_paper_is_refused(self, motors):
        shape = replace(wrap(motors, "forward"), edge_distance=400.0)
        with pytest.raises(ValueError, match=r"edge distance of 400\.0 mm"):
            tiling(shape, "A4")


class TestSection:
    """The layout agrees with the motor; what is not given is said."""

    def test_measures_of_the_motor(self, motors):
        shape = section(motors)
        case = next(part for part in shape.parts if part.kind == "case")
        xs, rs = zip(*case.outline, strict=True)
        assert (min(xs), max(xs)) == (0.0, pytest.approx(420.0))
        assert (min(rs), max(rs)) == (pytest.approx(25.4), pytest.approx(28.6))
        grains = [part for part in shape.parts if part.kind == "grain"]
        assert len(grains) == 4
        assert max(x for x, _ in grains[-1].outline) - min(x for x, _ in grains[0].outline) == pytest.approx(300.0)
        throat = min(r for part in shape.parts if part.kind == "nozzle" for _, r in part.outline)
        assert throat == pytest.approx(6.75)
        screws = [part for part in shape.parts if part.kind == "screw"]
        assert np.mean([x for x, _ in screws[0].outline]) == pytest.approx(14.0)
        assert np.mean([x for x, _ in screws[1].outline]) == pytest.approx(420.0 - 11.0)

    def test_grains_that_do_not_fit_are_said(self):
        assert any("more than the case has" in text for text in section(motor(case={"length": "330 mm"})).assumptions)

    def test_what_is_missing_is_assumed_aloud(self):
        document = tomllib.loads(MOTOR)
        del document["case"]["length"]
        shape = section(motor_from_document(document, "x.toml").motors)
        assert any("case.length is not given" in text for text in shape.assumptions)

    @pytest.mark.slow
    def test_without_case_and_closures(self):
        bare = motor(case=None, liner=None, forward_closure=None, aft_closure=None)
        shape = section(bare)
        assert {part.kind for part in shape.parts} == {"grain", "nozzle"}
        assert "no case is given: only grains and nozzle are drawn" in shape.assumptions
        found = {"section.svg", "section.pdf", "lathe.pdf", "lathe-nozzle.dxf", "as-measured.csv", "cut-list.csv", "cut-list.pdf"}
        assert set(sheets(bare, None)) == found

    @pytest.mark.slow
    @pytest.mark.parametrize(
        "retention",
        [
            {"retention": "threaded-ring", "thread_diameter": "52 mm", "thread_pitch": "1.5 mm", "engagement": "10 mm"},
            {
                "retention": "snap-ring",
                "groove_depth": "1.5 mm",
                "snap_ring_thickness": "2 mm",
                "edge_margin": "5 mm",
                "snap_ring_shear_strength": "900 MPa",
            },
        ],
        ids=lambda row: row["retention"],
    )
    def test_other_retentions_are_drawn(self, retention):
        document = tomllib.loads(MOTOR)
        document["aft_closure"] = {**retention, "ring_material": "6061-T6"}
        built = motor_from_document(document, "x.toml").motors
        found = sheets(built, None)
        assert "wrap-aft.pdf" not in found and "wrap-forward.pdf" in found
        assert len(pypdf.PdfReader(io.BytesIO(found["section.pdf"])).pages) == 1

    def test_svg_is_well_formed_and_of_the_paper_s_size(self, bare_sheets):
        root = ElementTree.fromstring(bare_sheets["section.svg"])
        assert (root.get("width"), root.get("height")) == ("297mm", "210mm")

    def test_the_scale_printed_is_the_scale_drawn(self, motors, bare_sheets):
        scale = best_scale(section(motors), 200.0, 70.0)
        assert (scale, scale_text(scale)) == (0.4, "1:2.5")
        text = pypdf.PdfReader(io.BytesIO(bare_sheets["section.pdf"])).pages[0].extract_text()
        assert "57.20 mm" in text and "420.00 mm" in text and "13.50 mm" in text


class TestCuts:
    """Nothing is lost between the pieces and the stock."""

    @given(st.lists(st.floats(5.0, 900.0), min_size=1, max_size=20))
    @settings(max_examples=examples(100, 40), deadline=None)
    def test_packing_keeps_every_piece_and_every_millimetre(self, pieces):
        bars = cuts.packed(pieces, cuts.STOCK_LENGTHS["metric"])
        assert sorted(piece for bar in bars for piece in bar.pieces) == sorted(pieces)
        for bar in bars:
            assert sum(bar.pieces) + cuts.KERF * len(bar.pieces) + bar.left == pytest.approx(bar.length)

    def test_longer_than_any_stock(self):
        with pytest.raises(ValueError, match="longer than the longest stock length"):
            cuts.packed([5000.0], (1000.0, 2000.0))
        assert "order to length" in shopping.stock_text(None, LABELS)[0]

    def test_lists_of_the_motor(self, motors):
        found = {cut.part: cut for cut in cuts.cuts(motors, LABELS)}
        assert found["case"].finished == pytest.approx(420.0)
        assert (found["grain tube"].pieces, found["grain tube"].finished) == (4, pytest.approx(75.0))
        bought = {item.what: item for item in shopping.purchases(motors, LABELS)}
        assert bought["forward screws"].quantity == "10"  # 8 and 2 spare
        assert bought["forward O-rings"].quantity == "3"  # 2 and 1 spare
        text = shopping.cut_list_csv(motors, LABELS).decode()
        assert "case,6061-T6,tube Ø 57.20 mm × 3.20 mm,1,420.00,422.00" in text

    def test_every_turned_part_is_sawn_from_a_bar_that_leaves_enough(self, motors):
        """By hand: bore 50.8, so that the parts ask for 51.7 at least and come from 55 mm, 2 in being too thin for them."""
        parts = [part for part in turned_parts(motors, LABELS) if part.name not in ("case", "liner")]
        found = {cut.part: cut for cut in cuts.cuts(motors, LABELS)}
        for part in parts:
            assert found[part.name].source.profile == "bar Ø 55.00 mm"
            assert found[part.name].finished == pytest.approx(part.end - part.start)
        inches = {cut.part: cut for cut in cuts.cuts(motors, replace(LABELS, units="imperial"))}
        assert {inches[part.name].source.profile for part in parts} == {"bar Ø 2-1/4 in"}

    def test_rings_go_by_their_dash_and_screws_by_a_length_that_is_sold(self, motors):
        """AS568 -224 is 1.734 in inside and 0.139 in thick; the groove's floor is 50.8 less 5.6 mm. #10: 3.2 + 9 mm, 7/16 in."""
        bought = {item.what: item for item in shopping.purchases(motors, LABELS)}
        assert "-224 (AS568)" in bought["forward O-rings"].specification
        assert f"stretched {(50.8 - 5.6) / (1.734 * 25.4) - 1:.1%}" in bought["forward O-rings"].remark
        document = tomllib.loads(MOTOR)
        document["forward_closure"]["ring_thickness"] = "9 mm"
        longer = motor_from_document(document, "lapwing.toml").motors
        (screws,) = [item for item in shopping.purchases(longer, LABELS) if item.what == "forward screws"]
        assert screws.specification.startswith("#10-24 UNC × 7/16 in") and "7.91 mm into the ring of 9.00 mm" in screws.remark
        assert shopping.screw_length(3.2 + 9.0, True) == ("12 mm", 12.0)

    def test_no_price_is_ours_and_the_user_s_are_added_as_written(self, motors, tmp_path):
        assert not any(item.cost for item in shopping.shopping(motors, LABELS))
        assert shopping.totals(shopping.shopping(motors, LABELS)) == []
        (tmp_path / "my bars.csv").write_text(
            "name,diameter [mm],material,length [mm],price [EUR]\nA,55,6061-T6,500,38.5\nB,55,6061-T6,1000,70\nC,52,brass,500,9\n"
        )
        (tmp_path / "rings.csv").write_text("name,inner_diameter [in],cross_section [in],price\n-224,1.734,0.139,$0.35\n")
        lists = [read_stock(tmp_path / name) for name in ("my bars.csv", "rings.csv")]
        lines = {item.what: item for item in shopping.shopping(motors, LABELS, lists)}
        turned = lines["forward closure, aft ring"]
        assert "A of my bars" in turned.specification and str(turned.cost) == "38.50 EUR"
        assert str(lines["forward O-rings"].cost) == "$1.05"
        together, bare = shopping.totals(list(lines.values()))
        assert "38.50 EUR and $1.05" in together and "case" in bare
        assert "38.50 EUR" in shopping.cut_list_csv(motors, LABELS, lists).decode()


class TestStand:
    """What the stand is told, and the proof test that the motor itself would fail."""

    def test_loads(self, motors, assessment):
        facts = stand(assessment)
        expected = float(assessment.maximum_expected_pressure[0])
        lowest = min(rung["pressure"] for rung in facts.rungs)
        assert facts.proof_pressure <= 1.5 * expected and facts.proof_pressure * 1.03 < lowest
        assert facts.closure_force == pytest.approx(expected * math.pi / 4 * 0.0508**2)
        assert facts.highest_thrust >= facts.peak_thrust
        for rung in facts.rungs:
            assert rung["proof_factor"] == pytest.approx(rung["pressure"] / facts.proof_pressure)
        assert facts.restraint >= 1.5 * facts.closure_force and facts.restraint >= 4.0 * facts.highest_thrust
        assert not {"grain support", "case yield hot"} & {rung["mode"] for rung in facts.rungs}

    @pytest.mark.slow
    def test_a_motor_that_just_passes_on_yield_is_not_proofed_at_yield(self, motors):
        """Wall thinned until the case stands at 1.5 on yield: 1.5 times the pressure would be yield itself."""

        def factor(wall):
            found = assess(motors.with_values({"case.wall": np.array([wall])}))
            return next(float(rung.factor[0]) for rung in found.ladder.rungs if rung.mode == "case yield")

        wall = brentq(lambda one: factor(one) - 1.5, 2e-4, 3.2e-3)
        found = assess(motors.with_values({"case.wall": np.array([wall])}))
        facts = stand(found)
        lowest = min(rung["pressure"] for rung in facts.rungs)
        assert facts.proof.limited and facts.proof_pressure * (1.0 + GAUGE_ERROR) <= 0.951 * lowest

    def test_a_plugged_throat_takes_the_nozzle_s_pull_away(self, motors, assessment):
        """By hand: firing, the aft end carries p(A_seal − C_F,vac·A_t); plugged, p·A_seal."""
        facts = stand(assessment)
        fired = {(rung.mode, rung.part): float(rung.pressure[0]) for rung in assessment.ladder.rungs if rung.pressure is not None}
        plugged = {(rung["mode"], rung["part"]): rung for rung in facts.rungs}
        share = float((end_load_area(motors, "aft") / plain_end_load_area(motors, "aft"))[0])
        assert share < 0.97
        for end, ratio in (("forward", 1.0), ("aft", share)):
            key = ("screw shear", f"{end} closure")
            assert plugged[key]["pressure"] == pytest.approx(ratio * fired[key], rel=1e-6)
            assert plugged[key]["unplugged"] is (end == "forward")

    @pytest.mark.slow
    def test_a_proof_that_would_fail_is_warned_of(self, assessment):
        rungs = tuple(
            replace(rung, pressure=1.05 * assessment.maximum_expected_pressure, factor=np.array([1.05]))
            if rung.mode == "screw shear"
            else rung
            for rung in assessment.ladder.rungs
        )
        weak = replace(assessment, ladder=Ladder(rungs, assessment.ladder.not_assessed))
        assert {rung["mode"] for rung in stand(weak).failing} == {"screw shear"}
        assert stand(weak).proof.limited and stand(weak).proof_pressure < assessment.maximum_expected_pressure[0]
        text = _text(proof_sheets(weak, LABELS)[0])
        assert "WARNING" in text and "Do not proof to it" in text.replace("\n", " ")
        assert "passes" not in _text(proof_sheets(assessment, LABELS)[0])

    def test_no_proof_passes_a_band_s_five_percent_end_nor_forgets_a_rung_with_tolerances(self, assessment):
        """The gauge may read 3 % low, and a motor with tolerances has the rungs that it has without."""
        loose = motor(tolerances={"wall": {"minus": "5 %"}})
        for one in (assessment, assess(loose, "steady", curve=True)):
            proof = stand(one).proof
            assert {"case yield", "screw shear"} <= {rung.mode for rung in proof.rungs}
            for rung in proof.rungs:
                if rung.kind != "advice":
                    assert proof.pressure * 1.03 <= min(rung.first, rung.pressure) * (1.0 + 1e-9)
            assert proof.unplugged >= proof.pressure

    def test_the_stand_is_stiff_and_quick_enough(self, assessment):
        """By hand: 0.35/t Hz in a rise of t, five times that for the mount, k = (2 pi f)^2 m."""
        facts = stand(assessment)
        assert facts.mount_frequency == pytest.approx(5 * 0.35 / facts.fastest)
        assert facts.sample_rate * facts.fastest >= 20.0
        quick = replace(facts, fastest=0.01, moving_mass=2.0)
        assert quick.stiffness == pytest.approx((2 * math.pi * 175.0) ** 2 * 2.0)
        text = _text(stand_sheet(assessment, LABELS))
        assert "Mounting of the load cell" in text and "kJ" in text and facts.fastest_from == "assumed" and "is assumed" in text

    def test_a_rise_that_the_kernel_has_stands_in_place_of_the_assumed_one(self, assessment):
        """A ramp of 50 ms: from a tenth to nine tenths in 40 ms, slower than what is assumed; with a fall of 5 ms, the fall."""
        for fall, where, takes in ((1.0, "start", 0.04), (0.005 / 0.8, "end", 0.005)):
            time = np.array([[0.0, 0.05, 1.0, 1.0 + fall]])
            curve = replace(assessment.figures.curve, time=time, thrust=np.array([[0.0, 100.0, 100.0, 0.0]]))
            found = quickest(replace(assessment, figures=replace(assessment.figures, curve=curve)))
            assert found == (pytest.approx(takes, rel=0.15), where)

    @pytest.mark.slow
    def test_temperatures_stand_by_place_with_when_to_read_them(self, assessment):
        """Each is the assessment's own, and no sticker is read before the last peak."""
        told = {place.place: place for place in assessment.heat.outside}
        wait = sticker_wait(assessment)
        assert wait >= max(float(place.readings.at[0]) for place in told.values() if place.warms)
        text = _text(stand_sheet(assessment, LABELS))
        for place in ("forward end", "aft end"):
            peak = float(told[place].readings.peak[0]) - 273.15
            assert f"{peak:.0f} °C" in text
        assert f"until {wait:.0f} s" in text
        cold = replace(assessment, heat=replace(assessment.heat, outside=(), missing=("no liner",)))
        assert "not told" in _text(stand_sheet(cold, LABELS)) and "no liner" in _text(stand_sheet(cold, LABELS))

    def test_a_passed_proof_writes_evidence(self, assessment):
        text = "\n".join(evidence_lines(stand(assessment), LABELS))
        filled = re.sub(r"_+ ", "5 ", text).replace("plugged = 5 ", "plugged = true ")
        (found,) = tomllib.loads(filled)["evidence"]
        assert found["kind"] == "water" and found["plugged"] is True and found["outcome"] == "held"


class TestReview:
    """One page, nothing left out in silence."""

    def test_one_page_with_everything(self, assessment):
        (sheet,) = review_sheets(assessment, LABELS, [SimpleNamespace(about="people", text="Fire remotely.")])
        text = _text(sheet)
        for row in ladder_rows(assessment.ladder):
            assert f"{row['mode']}, {row['part']}" in text
        assert "Fire remotely." in text and "signature" in text
        for item in assessment.ladder.not_assessed:
            assert item.mode in text

    @pytest.mark.slow
    def test_what_one_page_does_not_hold_goes_on_the_next(self, assessment):
        many = tuple(NotAssessed(f"mode {k}", "case", "a key that is not given") for k in range(200))
        told = [SimpleNamespace(about="liner", text="Look at it. " * 9), SimpleNamespace(about="people", text="Fire remotely.")]
        pages = [_text(sheet) for sheet in review_sheets(replace(assessment, ladder=Ladder((), many)), LABELS, told)]
        assert len(pages) > 1 and "Fire remotely." in pages[0] and "continued" in pages[1]
        assert all("signature" in text for text in pages)
        shown = [k for text in pages for k in re.findall(r"mode (\d+) \(case\)", text)]
        assert sorted(map(int, shown)) == list(range(200))

    def test_short_rungs_are_marked(self, assessment):
        rungs = tuple(replace(rung, required=np.array([1e6])) for rung in assessment.ladder.rungs)
        text = _text(review_sheets(replace(assessment, ladder=Ladder(rungs, ())), LABELS, [])[0])
        assert text.count("SHORT") >= len([rung for rung in rungs if np.isfinite(rung.factor).all()])
        assert "falls short" in text

    def test_figures_in_both_systems(self, assessment):
        metric, imperial = (dict(figure_rows(assessment, units)) for units in ("metric", "imperial"))
        assert metric["peak thrust"].endswith(" N") and imperial["peak thrust"].endswith(" lbf")
        assert re.fullmatch(r"[\d.]+ lbf·s \([\d.]+ N·s\)", imperial["total impulse"])


def _text(sheet: Sheet) -> str:
    return pypdf.PdfReader(io.BytesIO(pdf_bytes([sheet], "sheet"))).pages[0].extract_text()


class TestFiles:
    """What `draw` writes."""

    @pytest.mark.slow
    def test_every_file_is_written_and_the_bytes_do_not_change(self, motors, assessment, bare_sheets, tmp_path):
        written = draw(motors, assessment, tmp_path / "new" / "folder")
        assert [path.name for path in written] == [
            "section.svg", "section.pdf", "wrap-forward.pdf", "wrap-forward.dxf", "wrap-aft.pdf", "wrap-aft.dxf",
            "lathe.pdf", "lathe-case.dxf", "lathe-liner.dxf", "lathe-forward-closure.dxf", "lathe-nozzle.dxf",
            "lathe-aft-ring.dxf", "as-measured.csv",
            "cut-list.csv", "cut-list.pdf", "review.pdf", "proof-test.pdf", "test-stand.pdf", "day.pdf",
        ]  # fmt: skip
        for path in written:
            if path.name in bare_sheets:
                assert path.read_bytes() == bare_sheets[path.name], path.name
        assert {path.name for path in written} == {path.name for path in written[0].parent.iterdir()} - {"written.json"}
        stands = [pdf_bytes([stand_sheet(assessment, Labels("motor"))], "motor: test stand") for _ in range(2)]
        assert stands[0] == stands[1] == written[-2].read_bytes()

    @pytest.mark.slow
    def test_hostile_names_are_only_text(self, motors, assessment, tmp_path):
        name = 'a $x^{2}$ <script>\n\t"é" %%d \N{ROCKET} ' + "long " * 60
        written = draw(motors, assessment, tmp_path, name=name, file="f" * 300, digest="d" * 64)
        for path in written:
            if path.suffix == ".dxf":
                assert not ezdxf.readfile(path).audit().errors
            elif path.suffix == ".pdf":
                assert pypdf.PdfReader(path).pages
            elif path.suffix == ".svg":
                ElementTree.parse(path)

    def test_a_batch_or_an_unknown_paper_is_refused(self, motors, tmp_path):
        with pytest.raises(ValueError, match="of one motor, not of 3"):
            draw(motors.repeat(3), None, tmp_path)
        with pytest.raises(ValueError, match="no paper 'A3'"):
            draw(motors, None, tmp_path, paper="A3")
        assert not list(tmp_path.iterdir())


class TestText:
    """Text on paper stays where it is put."""

    @given(st.text(max_size=200), st.floats(5.0, 120.0))
    @settings(max_examples=60, deadline=None)
    def test_wrapped_lines_keep_within_the_width(self, text, width):
        lines = wrapped(text, 8.0, width)
        assert "".join(lines).replace(" ", "") == printable(text).replace(" ", "")
        assert all(width_of(line, 8.0) <= width or len(line) <= 1 for line in lines)

    def test_fitted_text_ends_in_an_ellipsis(self):
        assert fitted("short", 8.0, 50.0) == "short"
        cut = fitted("a long text that does not fit", 8.0, 20.0)
        assert cut.endswith("…") and width_of(cut, 8.0) <= 20.0
