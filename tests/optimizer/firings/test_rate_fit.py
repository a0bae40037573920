"""Re-fit of the burning-rate law: invented motors of known law, noise of several kinds, and what a fit must refuse.

The coverage tests are the ones that matter: a stated 95 % interval has to hold the truth. They run on fast forward
models (the steady kernel; a polynomial surface laid through the transient kernel), a single fit on the transient
kernel itself.
"""

import json
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from numpy.polynomial.polynomial import polyvander
from scenario import GRAINS, NOZZLE, PROPELLANT, changed, named
from scenario import RATE as LAW
from scipy.signal import lfilter

from optimizer.firings import rate_fit
from optimizer.firings.rate_fit import NoFit, correlated, inverted, learn, propellant_file, with_law
from optimizer.firings.record import Channel, Record
from optimizer.firings.reduction import reduce_record
from optimizer.inputs import Firing, Observed, load_firing, load_motor, load_propellant
from physics.ballistics import kernel, transient
from physics.motors import Curve

MOTOR = "".join(
    (
        named("Invented"),
        PROPELLANT + 'reference_temperature = "20 degC"\ntemperature_sensitivity = "0.002 1/K"\n',
        changed(LAW, ("6.5 mm/s", "RATE"), ("0.33", "EXPONENT")),
        changed(GRAINS, ("18 mm", "CORE")),
        changed(NOZZLE, ("13.5 mm", "THROAT")),
    )
)
RATE, EXPONENT, SPEED, AMBIENT = 8e-3, 0.35, 1480.0, 101325.0
COARSE = {"stations": 2, "tolerance": 1.6e-2, "web_steps": 30}


def motor_text(rate="6.5 mm/s", exponent=0.45, core="18 mm", throat="13.5 mm", extra=""):
    text = MOTOR.replace("RATE", rate).replace("EXPONENT", str(exponent)).replace("CORE", core).replace("THROAT", throat)
    return text + extra


def motor_file(folder: Path, name="motor.toml", **changes):
    (folder / name).write_text(motor_text(**changes))
    return load_motor(folder / name)


def firing_of(motor, name="invented", **measured):
    """A firing without files: the motor as the builder believes it to be."""
    return Firing(Path("firing.toml"), name, motor, None, {}, {}, Observed(), measured)


def history(curve):
    known = np.isfinite(curve.time[0])
    return curve.time[0][known], curve.chamber_pressure[0][known]


def record(curve, seed, noise=0.005, wander=0.0, span=0.0, bound=None, rate=500.0, lead=0.5, spikes=0.002):
    """A noisy record of a history: white or wandering noise over the peak, an error of span, spikes, an odd clock."""
    generator = np.random.default_rng(seed)
    t, p = history(curve)
    time = np.arange(0.0, t[-1] + 2.0 * lead, 1.0 / rate) + generator.normal(0.0, 0.05 / rate)
    pressure = np.interp(time - lead - generator.uniform(0.0, 1.0 / rate), t, p, left=AMBIENT, right=AMBIENT)
    error = generator.normal(size=time.size)
    if wander:
        error = np.sqrt(1.0 - wander**2) * lfilter([1.0], [1.0, -wander], error)
    peak = p.max()
    pressure = AMBIENT + (pressure - AMBIENT) * (1.0 + span) + noise * peak * error
    hit = generator.random(time.size) < spikes
    pressure[hit] += generator.uniform(0.05, 0.2, hit.sum()) * peak
    return Record(time, (Channel("p", "pressure", pressure, bound),))


def true_rate(at):
    return RATE * (at / 5e6) ** EXPONENT


def covered(curve, believed, kind, repeats=100, **noise):
    """How many of the repeats hold the true rate, the true exponent; and the median relative width of the intervals."""
    rates = exponents = 0
    widths = []
    for seed in range(repeats):
        bound = noise.get("bound")
        peak = history(curve)[1].max()
        # The instrument's own error of span is drawn from what its accuracy allows.
        span = np.random.default_rng(9000 + seed).uniform(-1.0, 1.0) * bound / peak if bound else 0.0
        reduction = reduce_record(firing_of(believed), record(curve, seed, span=span, **noise))
        fit, _ = rate_fit.fit_rate([reduction], kernel=kind)
        low, high = fit.interval("rate")
        rates += low <= true_rate(fit.at) <= high
        widths.append(((high - low) / fit.rate, fit.interval("exponent")[1] - fit.interval("exponent")[0]))
        low, high = fit.interval("exponent")
        exponents += low <= EXPONENT <= high
    return rates, exponents, np.median(widths, axis=0)


@pytest.mark.slow
class TestCoverage:
    """Each row: noise, and the widest that the 95 % intervals of rate (relative) and exponent may be."""

    @pytest.mark.parametrize(
        ("noise", "widest"),
        [
            pytest.param({"noise": 0.005}, (0.015, 0.02), id="white"),
            pytest.param({"noise": 0.015, "rate": 150.0}, (0.03, 0.08), id="slow logger"),
        ],
    )
    def test_steady_kernel(self, tmp_path, noise, widest):
        truth = motor_file(tmp_path, "truth.toml", rate="8 mm/s", exponent=EXPONENT)
        curve = kernel.evaluate(truth.motors, curve=True).curve
        self.check(covered(curve, motor_file(tmp_path), "steady", **noise), widest)

    @pytest.mark.parametrize(
        ("noise", "widest"),
        [
            pytest.param({"noise": 0.005}, (0.006, 0.015), id="white"),
            pytest.param({"noise": 0.01, "wander": 0.9}, (0.04, 0.08), id="wandering"),
            pytest.param({"noise": 0.005, "bound": 2e4}, (0.015, 0.06), id="instrument"),
        ],
    )
    def test_transient_kernel(self, tmp_path, monkeypatch, surface, noise, widest):
        monkeypatch.setattr(rate_fit, "_history", surface)
        monkeypatch.setattr(rate_fit, "COARSE_TO_FINE", ({},))
        truth = motor_file(tmp_path, "truth.toml", rate="8 mm/s", exponent=EXPONENT)
        curve = surface(with_truth(truth.motors), "transient", {})
        self.check(covered(curve, motor_file(tmp_path), "transient", **noise), widest)

    def check(self, found, widest):
        rates, exponents, widths = found
        print(f"covered: rate {rates}, exponent {exponents} of 100; widths {widths[0]:.4f}, {widths[1]:.4f}")
        assert rates >= 90 and exponents >= 90
        assert widths[0] < widest[0] and widths[1] < widest[1]

    def test_the_surface_is_the_transient_kernel(self, tmp_path, surface):
        truth = motor_file(tmp_path, "truth.toml", rate="8.1 mm/s", exponent=0.37)
        t, p = history(transient.evaluate(truth.motors, curve=True, **COARSE).curve)
        law = with_law(truth.motors, np.log([8.1e-3]), np.array([0.37]), np.log([SPEED]), 5e6)
        time, pressure = history(surface(law, "transient", {}))
        burning = (t > 0.05) & (t < 0.97 * t[-1])
        assert np.interp(t[burning], time, pressure) == pytest.approx(p[burning], rel=3e-3)


def with_truth(motors):
    return with_law(motors, np.log([RATE]), np.array([EXPONENT]), np.log([SPEED]), 5e6)


@pytest.fixture(scope="module")
def surface(tmp_path_factory):
    """A cubic surface through the transient kernel over ln rate at 2.6 MPa, exponent and ln c*: a fast forward model.

    Histories are laid on a common clock: parts of the time to half the peak on the way down.
    """
    motors = motor_file(tmp_path_factory.mktemp("surface"), core="18 mm").motors
    at, centre, reach = (
        2.6e6,
        np.array([np.log(true_rate(2.6e6)), EXPONENT, np.log(SPEED)]),
        np.array([0.05, 0.15, 0.04]),
    )
    nodes = np.array(list(product(np.cos(np.pi * (np.arange(5) + 0.5) / 5), repeat=3)))
    points = centre + nodes * reach
    curve = transient.evaluate(with_law(motors, *points.T, at), curve=True, **COARSE).curve
    share = np.concatenate([np.linspace(0.0, 0.05, 60)[:-1], np.linspace(0.05, 0.94, 250)[:-1], np.linspace(0.94, 1.12, 150)])

    def laid(i):
        known = np.isfinite(curve.time[i])
        t, p = curve.time[i][known], curve.chamber_pressure[i][known]
        after = np.flatnonzero(p >= 0.5 * p.max())[-1]
        end = np.interp(-0.5 * p.max(), -p[after : after + 2], t[after : after + 2])
        return np.concatenate([[np.log(end)], np.log(np.interp(share * end, t, p, right=p[-1]))])

    powers = [(i, j, k) for i, j, k in product(range(4), repeat=3) if i + j + k <= 3]

    def basis(u):
        a, b, c = (polyvander(u[:, n], 3) for n in range(3))
        return np.stack([a[:, i] * b[:, j] * c[:, k] for i, j, k in powers], axis=1)

    table = np.linalg.lstsq(basis(nodes), np.stack([laid(i) for i in range(len(nodes))]), rcond=None)[0]

    def evaluate(batch, kind, options):
        law = batch.propellant
        count = batch.size
        log_rate = np.log(np.broadcast_to(law.rate, (count, 1))[:, 0])
        exponent = np.broadcast_to(law.exponent, (count, 1))[:, 0]
        log_rate = log_rate + exponent * np.log(at / np.broadcast_to(law.rate_at, (count, 1))[:, 0])
        speed = np.log(np.broadcast_to(law.characteristic_velocity, (count,)))
        values = basis((np.stack([log_rate, exponent, speed], axis=1) - centre) / reach) @ table
        time, pressure = np.exp(values[:, :1]) * share, np.exp(values[:, 1:])
        return Curve(time, pressure, pressure, *(np.zeros_like(time) for _ in range(6)))

    return evaluate


class TestTransientKernel:
    @pytest.mark.slow
    def test_a_firing_from_files_gives_its_law_back(self, tmp_path):
        motor_file(tmp_path)
        truth = motor_file(tmp_path, "truth.toml", rate="8 mm/s", exponent=EXPONENT)
        made = record(transient.evaluate(truth.motors, curve=True).curve, 3, noise=0.004)
        columns = np.column_stack([made.time, made.channels[0].values / 1e5])
        np.savetxt(tmp_path / "r.csv", columns, delimiter=",", header="t,p", comments="", fmt="%.7g")
        (tmp_path / "f.toml").write_text(
            'schema = 1\nmotor = "motor.toml"\nrecord = "r.csv"\n[columns]\ntime = {name = "t", unit = "s"}\n'
            'pressure = {name = "p", unit = "bar"}\n'
        )
        learned = learn([load_firing(tmp_path / "f.toml")])
        fit = learned.fit
        assert fit is not None and fit.kernel == "transient"
        assert fit.rate == pytest.approx(true_rate(fit.at), rel=5e-3)
        assert fit.exponent == pytest.approx(EXPONENT, abs=0.015)
        assert fit.characteristic_velocity == pytest.approx(SPEED, rel=5e-3)
        low, high = fit.interval("rate")
        assert low <= true_rate(fit.at) <= high and fit.standard_error["rate"] < 0.003 * fit.rate
        assert fit.pressure_range[0] < fit.at < fit.pressure_range[1]
        self.check_json(learned)
        self.check_series(fit)
        self.check_propellant(tmp_path, learned)

    def check_json(self, learned):
        answer = learned.as_json()
        json.dumps(answer, allow_nan=False)
        assert {"rate", "at", "exponent", "standard_error", "correlation", "pressure_range"} <= set(answer["fit"])
        assert abs(answer["fit"]["correlation"]) <= 1.0
        assert answer["fit"]["before"]["exponent"] == pytest.approx(0.45, rel=1e-6)
        assert any(item["about"] == "range of the fit" for item in answer["cautions"])

    def check_series(self, fit):
        (series,) = fit.series
        burning = series.used & np.isfinite(series.predicted)
        away = (series.predicted - series.measured)[burning] / series.measured.max()
        assert np.sqrt(np.mean(away**2)) < 0.03
        # The law the builder believed in is plainly worse.
        before = (series.before - series.measured)[burning & np.isfinite(series.before)] / series.measured.max()
        assert np.sqrt(np.mean(before**2)) > 3.0 * fit.misfit

    def check_propellant(self, folder, learned):
        text = propellant_file(learned)
        (folder / "p.toml").write_text(text)
        found = load_propellant(folder / "p.toml")
        fit = learned.fit
        law = found.propellant
        read = {"rate": law.rate, "exponent": law.exponent, "characteristic_velocity": law.characteristic_velocity}
        for name, value in read.items():
            low, high = fit.interval(name)
            assert abs(float(np.ravel(value)[0]) - fit.value(name)) <= 0.06 * 0.5 * (high - low), name
        assert float(law.rate_at[0, 0]) == fit.at
        ends = (float(law.rate_from[0, 0]), float(law.rate_to[0, 0]))
        assert ends == pytest.approx(fit.pressure_range, rel=1e-3)
        # No more digits than the interval supports.
        for text_of in (found.document["rate"][0]["rate"], str(found.document["rate"][0]["exponent"])):
            assert len(text_of.split()[0].replace(".", "").lstrip("0")) <= 5, text_of
        assert float(found.propellant.density[0]) == 1700.0 and float(found.propellant.temperature_sensitivity[0]) == 0.002
        assert "r.csv" in found.provenance["firings"] and "95 %" in found.provenance["rate"]

    @pytest.mark.slow
    def test_an_erosive_constant(self, tmp_path, monkeypatch):
        """A narrow port with twice the coefficient that the file has, and another rate: both come out."""
        monkeypatch.setattr(rate_fit, "COARSE_TO_FINE", ({"stations": 1, "tolerance": 3e-2, "web_steps": 20},))
        constants = 'erosive = "mukunda-paul"\n[propellant.erosive_constants]\ncoefficient = VALUE\nthreshold = 10\n'
        text = motor_text(rate="8 mm/s", exponent=EXPONENT, core="15 mm")
        text = text.replace("[[propellant.rate]]", constants + "[[propellant.rate]]").replace("count = 3", "count = 1")
        text = text.replace('"75 mm"', '"225 mm"')
        (tmp_path / "truth.toml").write_text(text.replace("VALUE", "0.05"))
        (tmp_path / "motor.toml").write_text(text.replace("VALUE", "0.023").replace("8 mm/s", "7 mm/s"))
        truth = load_motor(tmp_path / "truth.toml").motors
        curve = transient.evaluate(truth, curve=True, **rate_fit.COARSE_TO_FINE[0]).curve
        firing = firing_of(load_motor(tmp_path / "motor.toml"))
        fit, _ = rate_fit.fit_rate([reduce_record(firing, record(curve, 1, noise=0.003))], erosive=True)
        assert fit.erosive_constant[0] == "coefficient" and fit.names[3] == "coefficient"
        assert fit.erosive_constant[1] == pytest.approx(0.05, rel=0.05)
        assert fit.exponent == pytest.approx(EXPONENT, abs=0.02) and fit.covariance.shape == (4, 4)


class TestSteadyKernel:
    @pytest.fixture()
    def truth(self, tmp_path):
        return motor_file(tmp_path, "truth.toml", rate="8 mm/s", exponent=EXPONENT)

    def fitted(self, tmp_path, truth, made=None, **measured):
        curve = kernel.evaluate(truth.motors, curve=True).curve
        reduction = reduce_record(firing_of(motor_file(tmp_path), **measured), made or record(curve, 1))
        return rate_fit.fit_rate([reduction], kernel="steady")

    def test_two_firings_at_different_kn_say_more_of_the_exponent(self, tmp_path, truth):
        alone, _ = self.fitted(tmp_path, truth)
        other = motor_file(tmp_path, "hot.toml", rate="8 mm/s", exponent=EXPONENT, throat="11.5 mm")
        believed = motor_file(tmp_path, "hot believed.toml", throat="11.5 mm")
        reductions = [
            reduce_record(firing_of(motor_file(tmp_path), "first"), record(kernel.evaluate(truth.motors, curve=True).curve, 1)),
            reduce_record(firing_of(believed, "second"), record(kernel.evaluate(other.motors, curve=True).curve, 2)),
        ]
        both, _ = rate_fit.fit_rate(reductions, kernel="steady")
        assert both.standard_error["exponent"] < 0.6 * alone.standard_error["exponent"]
        assert both.exponent == pytest.approx(EXPONENT, abs=3.0 * both.standard_error["exponent"])
        assert both.pressure_range[1] > 1.3 * alone.pressure_range[1] and both.firings == ("first", "second")
        learned = rate_fit.Learned(tuple(reductions), both, ())
        assert [item["firing"] for item in learned.as_json()["firings"]] == ["first", "second"]

    def test_the_grain_temperature_is_taken_out(self, tmp_path, truth):
        """Fired 25 K above the reference, the record burns e^0.05 faster; the law is still given at the reference."""
        hot = truth.motors.with_values({"ambient.temperature": np.array([318.15])})
        fit, _ = self.fitted(tmp_path, truth, record(kernel.evaluate(hot, curve=True).curve, 1), temperature=318.15)
        assert fit.rate == pytest.approx(true_rate(fit.at), rel=6e-3)
        cold, _ = self.fitted(tmp_path, truth, record(kernel.evaluate(hot, curve=True).curve, 1))
        assert cold.rate == pytest.approx(np.exp(0.05) * true_rate(cold.at), rel=6e-3)

    def test_an_error_of_span_goes_into_c_star_and_not_into_the_rate(self, tmp_path, truth):
        curve = kernel.evaluate(truth.motors, curve=True).curve
        right, _ = self.fitted(tmp_path, truth)
        high, _ = self.fitted(tmp_path, truth, record(curve, 1, span=0.05))
        assert high.characteristic_velocity / right.characteristic_velocity == pytest.approx(1.05, abs=0.003)
        assert high.rate / true_rate(high.at / 1.05) == pytest.approx(1.0, abs=0.01)

    def test_the_weighed_mass_sets_the_density(self, tmp_path, truth):
        mass = 1.02 * kernel.evaluate(truth.motors)["propellant_mass"][0]
        fit, _ = self.fitted(tmp_path, truth, propellant_mass=mass)
        assert fit.characteristic_velocity == pytest.approx(SPEED / 1.02, rel=4e-3)
        assert fit.rate == pytest.approx(true_rate(fit.at), rel=6e-3)

    def test_a_slow_ignition_does_not_spoil_the_law(self, tmp_path, truth):
        """The flame takes 0.15 s to spread: no kernel has that, and the rise is left out."""
        made = record(kernel.evaluate(truth.motors, curve=True).curve, 1)
        time, pressure = made.time, made.channels[0].values.copy()
        start = time[np.argmax(pressure > 1e6)]
        rise = np.clip((time - start) / 0.15, 0.0, 1.0)
        pressure = AMBIENT + (pressure - AMBIENT) * np.where(time > start, np.sin(0.5 * np.pi * rise) ** 2, 1.0)
        fit, _ = self.fitted(tmp_path, truth, Record(time, (Channel("p", "pressure", pressure),)))
        assert fit.rate == pytest.approx(true_rate(fit.at), rel=0.05)

    def test_inversion_alone_comes_near(self, tmp_path, truth):
        curve = kernel.evaluate(truth.motors, curve=True).curve
        reduction = reduce_record(firing_of(truth), record(curve, 1, noise=0.001, spikes=0.0))
        pressure, rate = inverted(reduction, truth.motors, reduction.start + 0.1)
        assert rate == pytest.approx(RATE * (pressure / 5e6) ** EXPONENT, rel=0.03)

    def test_a_motor_that_is_not_the_one_fired_is_noticed(self, tmp_path, truth):
        """A record that falls all through, of a motor whose file says that it rises and falls."""
        made = record(kernel.evaluate(truth.motors, curve=True).curve, 1)
        time, pressure = made.time, made.channels[0].values
        start, stop = time[np.argmax(pressure > 1e6)], time[np.flatnonzero(pressure > 1e6)[-1]]
        falling = 1.4 - 0.7 * np.clip((time - start) / (stop - start), 0.0, 1.0)
        _, notes = self.fitted(tmp_path, truth, Record(time, (Channel("p", "pressure", AMBIENT + (pressure - AMBIENT) * falling),)))
        assert {"misfit", "unlikely exponent"} <= {item.about for item in notes}


class TestNoFit:
    def curve(self, folder):
        return kernel.evaluate(motor_file(folder, "truth.toml", rate="8 mm/s", exponent=EXPONENT).motors, curve=True).curve

    def test_without_pressure(self, tmp_path):
        made = record(self.curve(tmp_path), 1)
        force = Record(made.time, (Channel("F", "thrust", (made.channels[0].values - AMBIENT) / 5e3),))
        with pytest.raises(NoFit, match="no pressure channel"):
            rate_fit.fit_rate([reduce_record(firing_of(motor_file(tmp_path)), force)])

    def test_without_a_motor(self, tmp_path):
        with pytest.raises(NoFit, match="names no motor"):
            rate_fit.fit_rate([reduce_record(firing_of(None), record(self.curve(tmp_path), 1))])

    def test_with_a_record_cut_short(self, tmp_path):
        made = record(self.curve(tmp_path), 1)
        early = made.time < 1.2
        cut = Record(made.time[early], (Channel("p", "pressure", made.channels[0].values[early]),))
        with pytest.raises(NoFit, match="end of burning"):
            rate_fit.fit_rate([reduce_record(firing_of(motor_file(tmp_path)), cut)])

    def test_with_too_few_samples(self, tmp_path):
        with pytest.raises(NoFit, match="samples"):
            rate_fit.fit_rate(
                [reduce_record(firing_of(motor_file(tmp_path)), record(self.curve(tmp_path), 1, rate=10.0, spikes=0.0))]
            )

    def test_erosive_without_a_law(self, tmp_path):
        reduction = reduce_record(firing_of(motor_file(tmp_path)), record(self.curve(tmp_path), 1))
        with pytest.raises(NoFit, match="names no erosive law"):
            rate_fit.fit_rate([reduction], erosive=True)

    def test_the_reason_goes_into_the_cautions(self, tmp_path):
        (tmp_path / "motor.toml").write_text("schema = 1\n" + motor_text()[motor_text().index("[nozzle]") :])
        made = record(self.curve(tmp_path), 1)
        np.savetxt(
            tmp_path / "r.csv",
            np.column_stack([made.time, made.channels[0].values]),
            delimiter=",",
            header="t,p",
            comments="",
        )
        (tmp_path / "f.toml").write_text(
            'schema = 1\nmotor = "motor.toml"\nrecord = "r.csv"\n[columns]\ntime = {name = "t", unit = "s"}\n'
            'pressure = {name = "p", unit = "Pa"}\n'
        )
        learned = learn([load_firing(tmp_path / "f.toml")])
        answer = learned.as_json()
        assert answer["fit"] is None
        assert any(item["about"] == "no fit" and "[propellant]" in item["text"] for item in answer["cautions"])
        with pytest.raises(ValueError, match="nothing was fitted"):
            propellant_file(learned)


class TestCovariance:
    def test_long_run_variance_of_a_wandering_series(self):
        """The variance of a mean of an autoregression is σ²(1 + ρ)/(1 − ρ)/n; the sum's is n times n of that."""
        generator = np.random.default_rng(7)
        count, found = 3000, []
        for _ in range(40):
            series = lfilter([1.0], [1.0, -0.8], generator.normal(size=count))
            found.append(float(correlated(series[:, None], series)[0, 0]) / count)
        assert np.mean(found) == pytest.approx(1.0 / (1.0 - 0.8) ** 2, rel=0.1)

    def test_white_series(self):
        series = np.random.default_rng(8).normal(size=4000)
        assert float(correlated(series[:, None], series)[0, 0]) / 4000 == pytest.approx(1.0, rel=0.15)
