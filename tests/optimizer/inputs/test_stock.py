"""Stock lists: those that come with the tool, the user's own, and broken ones."""

import pytest

from optimizer.inputs.stock import load_stock, packaged_names, price_of, read_stock, stock_names
from optimizer.problems import InputError
from physics.failure.screws import screw_size


class TestPackaged:
    @pytest.mark.parametrize("name", packaged_names())
    def test_reads_and_says_where_it_comes_from(self, name):
        stock = load_stock(name)
        assert stock.items and stock.name == name
        said = stock.source.lower()
        assert "remembered" in said or "read at second hand" in said
        assert any(word in said for word in ("iso ", "asme ", "as568", "astm ", "common practice"))

    def test_the_lists_that_studies_name_are_there(self):
        wanted = {"drills-metric", "drills-imperial", "reamers-metric", "reamers-imperial", "tube-6061", "tube-4130"}
        wanted |= {"tube-metric", "screws-unified", "screws-metric", "orings-as568"}
        assert wanted <= set(packaged_names())

    @pytest.mark.parametrize("name", ["screws-unified", "screws-metric"])
    def test_screws_agree_with_the_kernel(self, name):
        for item in load_stock(name).items:
            size = screw_size(item.name)
            assert item.values["diameter"] == pytest.approx(size.diameter, rel=1e-6), item.name
            assert item.values["pitch"] == pytest.approx(size.pitch, rel=1e-6), item.name

    def test_rounds_rise(self):
        for name in packaged_names():
            stock = load_stock(name)
            if stock.kind in ("rounds", "bars"):
                sizes = [item.values["diameter"] for item in stock.items]
                assert sizes == sorted(sizes), name

    def test_drills(self):
        drills = {item.name: item.texts["diameter"] for item in load_stock("drills-imperial").items}
        # remembered: number 7 is 0.2010 in, letter F 0.257 in, letter Z 0.413 in, number 60 0.040 in
        assert float(drills["#7"].split()[0]) == 0.2010
        assert drills["F"] == "0.257 in" and drills["Z"] == "0.413 in" and drills["#60"] == "0.0400 in"
        assert drills["3/8 in"] == "0.375 in"

    def test_rings(self):
        rings = {item.name: item for item in load_stock("orings-as568").items}
        # read at second hand: a transcription of AS568; a stored web chart has wrong -3xx rows (-318, -325, -335)
        assert rings["-325"].texts["inner_diameter"] == "1.475 in"
        assert rings["-335"].texts["inner_diameter"] == "2.725 in"
        assert rings["-228"].texts["cross_section"] == "0.139 in"
        # the pattern: inner diameter is a whole number of sixteenths less a constant of the series
        less = {"0": 0.011, "1": 0.013, "2": 0.016, "3": 0.025}
        for name, item in rings.items():
            sixteenths = (item.values["inner_diameter"] / 0.0254 + less[name[1]]) * 16
            assert sixteenths == pytest.approx(round(sixteenths), abs=0.02), name

    def test_bars_are_bars_and_carry_no_price(self):
        for name in packaged_names():
            stock = load_stock(name)
            assert (stock.kind == "bars") == name.startswith("bars-")
            assert not any("price" in item.texts for item in stock.items)

    def test_tubes_have_a_bore(self):
        for name in packaged_names():
            stock = load_stock(name)
            if stock.kind == "tubes":
                assert all(item.values["outer_diameter"] > 2 * item.values["wall"] for item in stock.items)


class TestFolders:
    def test_a_users_list_comes_first(self, tmp_path):
        (tmp_path / "stock").mkdir()
        (tmp_path / "stock" / "tube-6061.csv").write_text("name,outer_diameter,wall\nmine,50 mm,3 mm\n")
        assert [item.name for item in load_stock("tube-6061", tmp_path).items] == ["mine"]
        assert len(load_stock("tube-6061").items) > 1

    def test_beside_the_study_too(self, tmp_path):
        (tmp_path / "rods.csv").write_text("name,diameter [in]\nA,0.5\nB,12 mm\n")
        stock = load_stock("rods", tmp_path)
        assert [item.values["diameter"] for item in stock.items] == [0.0127, 0.012]
        assert "rods" in stock_names(tmp_path)

    def test_a_price_is_read_as_written_and_nothing_else_is_one(self, tmp_path):
        (tmp_path / "rods.csv").write_text("name,diameter [mm],length [mm],price [EUR]\nA,20,500,12.5\nB,25,500,£9\nC,30,500,\n")
        prices = [price_of(item.texts.get("price", "")) for item in read_stock(tmp_path / "rods.csv").items]
        assert [str(price) for price in prices] == ["12.50 EUR", "£9.00", "None"]
        for wrong in ("cheap", "-3 EUR", '"12,50 EUR"', "nan", "1e9 EUR"):
            (tmp_path / "rods.csv").write_text(f"name,diameter [mm],price\nA,20,{wrong}\n")
            with pytest.raises(InputError, match="is not a price"):
                read_stock(tmp_path / "rods.csv")

    @pytest.mark.parametrize("name", ["../secret", "/etc/passwd", "a/b", "", "nul\0", "x" * 200])
    def test_a_name_is_a_name_and_no_path(self, tmp_path, name):
        with pytest.raises(KeyError):
            load_stock(name, tmp_path)

    def test_nearest(self):
        with pytest.raises(KeyError, match="drills-metric"):
            load_stock("drill-metric")


BROKEN = [
    ("", "E125", "no items"),
    ("name,diameter [mm]\n", "E125", "no items"),
    ("name,diametre [mm]\na,3\n", "E125", "diameter"),
    ("name,note\na,b\n", "E125", "no dimension"),
    ("name,diameter [mm],diameter [in]\na,1,2\n", "E125", "twice"),
    ("name,diameter\na,3\n", "E101", "3 mm"),
    ("name,diameter [mm]\na,3,4\n", "E125", "3 cells"),
    ("name,diameter [mm]\n,3\n", "E125", "name"),
    ("name,diameter [kg]\na,3\n", "E103", "length"),
    ('name,diameter [mm]\na,"3,5"\n', "E102", "3.5"),
    ("name,diameter [mm]\na,-3\n", "E106", "size"),
    ("name,diameter [mm]\na,nan\n", "E105", "finite"),
    ("name,diameter [mm]\na,0\n", "E106", "size"),
    ("name,diameter [mm]\na,1e9\n", "E106", "size"),
    ("name,outer_diameter [mm],wall [mm]\na,20,10\n", "E135", "half"),
    ("name,diameter [mm]\na,3\na,4\n", "E125", "twice"),
    ('name,diameter [mm]\n"a,3\n', "E125", "CSV"),
]


class TestBroken:
    @pytest.mark.parametrize(("text", "code", "says"), BROKEN)
    def test_refused_by_name(self, tmp_path, text, code, says):
        path = tmp_path / "list.csv"
        path.write_text(text)
        with pytest.raises(InputError) as caught:
            read_stock(path)
        assert caught.value.problems[0].code == code
        assert says in str(caught.value) and "list.csv" in str(caught.value)

    def test_several_at_once(self, tmp_path):
        path = tmp_path / "list.csv"
        path.write_text("# mine\nname,diameter [mm]\na,-1\nb,2\nc,nan\n")
        with pytest.raises(InputError) as caught:
            read_stock(path)
        assert [problem.line for problem in caught.value.problems] == [3, 5]

    def test_number_sizes_are_no_comments(self, tmp_path):
        path = tmp_path / "list.csv"
        path.write_text("# a remark\n#\nname,diameter [in]\n#7,0.2010\n#8,0.1990\n")
        assert [item.name for item in read_stock(path).items] == ["#7", "#8"]

    def test_too_long(self, tmp_path):
        path = tmp_path / "list.csv"
        path.write_text("name,diameter [mm]\n" + "".join(f"{place},1\n" for place in range(30_000)))
        with pytest.raises(InputError, match="at most 20000"):
            read_stock(path)
