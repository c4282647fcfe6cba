"""Reading the catalogue, and who gets which odds of an outcome."""

import copy

import pytest

from beltside.base.errors import InputError
from beltside.suspects.catalogue import (
    NOT_DONE,
    NOT_SURE,
    all_suspects_for,
    check_done,
    checks_for,
    suspects_for,
)
from beltside.suspects.catalogue_table import merged, parse_catalogue


def suspect(needs, *, weight=1, belt_driven=True):
    return {
        "name": f"a {needs}",
        "needs": needs,
        "weight": weight,
        "belt_driven": belt_driven,
        "sounds": "a sound",
        "replace": "a part",
    }


def check(outcomes, likely, **keys):
    return {
        "name": "Check",
        "how": "do it",
        "minutes": 2,
        "engine": "off",
        "belt": "off",
        "hazard": "Engine off.",
        "outcomes": outcomes,
        "likely": likely,
        **keys,
    }


SMALL = {
    "version": 1,
    "access": {
        "belt-off": {"says": "the belt is off", "open_minutes": 8, "close_minutes": 7},
    },
    "condition": {
        "engine-cold": {"says": "it is cold", "assumed": True, "ends_with_running": True},
    },
    "suspect": {
        "idler.bearing": suspect("idler"),
        "alternator.bearing": suspect("alternator"),
        "belt.slip": suspect("belt"),
        "engine.knock": suspect("engine", belt_driven=False),
        "none": suspect("engine", belt_driven=False),
        "other": suspect("engine", belt_driven=False),
    },
    "check": {
        "spin": check(
            {"smooth": {"says": "smooth"}, "rough": {"says": "rough", "also": ["dry"]}},
            {
                "any.bearing": {"smooth": 0.3, "rough": 0.7},
                "belt.slip": {"smooth": 0.8, "rough": 0.2},
                "otherwise": {"smooth": 0.9, "rough": 0.1},
            },
            parts=["idler", "alternator"],
        ),
        "run": check(
            {"gone": {"says": "gone"}, "stays": {"says": "stays"}},
            {
                "alternator.bearing": {"gone": 0.6, "stays": 0.4},
                "belt-driven": {"gone": 0.95, "stays": 0.05},
                "otherwise": {"gone": 0.05, "stays": 0.95},
            },
        ),
    },
}
DRIVE = ("crank", "idler", "idler-2", "alternator")


@pytest.fixture
def small():
    return parse_catalogue(SMALL)


def changed(*path, to=None, drop=False):
    table = copy.deepcopy(SMALL)
    holder = table
    for step in path[:-1]:
        holder = holder[step]
    if drop:
        del holder[path[-1]]
    else:
        holder[path[-1]] = to
    return table


def named(catalogue, word, parts=DRIVE):
    return next(s for s in suspects_for(catalogue, parts) if s.id == word)


def test_numbered_parts_have_their_own_suspects(small):
    found = suspects_for(small, DRIVE)
    assert [s.id for s in found] == [
        "idler.bearing",
        "idler-2.bearing",
        "alternator.bearing",
        "belt.slip",
        "engine.knock",
        "none",
        "other",
    ]
    second = found[1]
    assert (second.part, second.fault, second.needs) == ("idler-2", "bearing", "idler")
    assert second.name == "a idler (no. 2)"


@pytest.mark.parametrize(
    ("parts", "ids"),
    [
        ((), ["engine.knock", "none", "other"]),
        (("crank",), ["belt.slip", "engine.knock", "none", "other"]),
    ],
)
def test_only_what_the_car_has_is_suspected(small, parts, ids):
    assert [s.id for s in suspects_for(small, parts)] == ids


def test_checks_are_offered_for_each_pulley_they_suit(small):
    assert [(c.id, part) for c, part in checks_for(small, DRIVE)] == [
        ("spin", "idler"),
        ("spin", "idler-2"),
        ("spin", "alternator"),
        ("run", None),
    ]
    assert [(c.id, part) for c, part in checks_for(small, ())] == [("run", None)]


@pytest.mark.parametrize(
    ("word", "part", "rough"),
    [
        ("idler.bearing", "idler", 0.7),
        ("idler-2.bearing", "idler", 0.1),
        ("idler-2.bearing", "idler-2", 0.7),
        ("alternator.bearing", "idler", 0.1),
        ("belt.slip", "idler", 0.2),
        ("none", "idler", 0.1),
    ],
)
def test_only_the_pulley_under_the_hand_gives_its_fault_away(small, word, part, rough):
    likely = small.check("spin").likelihoods(named(small, word), part)
    assert likely["rough"] == rough


@pytest.mark.parametrize(
    ("word", "gone"),
    [
        ("idler-2.bearing", 0.95),
        ("belt.slip", 0.95),
        ("alternator.bearing", 0.6),
        ("engine.knock", 0.05),
        ("none", 0.05),
    ],
)
def test_a_check_of_the_whole_engine(small, word, gone):
    assert small.check("run").likelihoods(named(small, word))["gone"] == gone


def test_a_check_on_the_wrong_part_is_refused(small):
    idler = named(small, "idler.bearing")
    with pytest.raises(InputError, match="alternator"):
        small.check("spin").likelihoods(idler, "crank")
    with pytest.raises(InputError, match="without a part"):
        small.check("spin").likelihoods(idler)
    with pytest.raises(InputError, match="whole engine"):
        small.check("run").likelihoods(idler, "idler")


class TestWhatSomebodyWroteDown:
    def test_in_the_catalogues_words(self, small):
        done = check_done(small, DRIVE, "spin", "idler-2", "dry")
        assert (done.check.id, done.part, done.outcome.word) == ("spin", "idler-2", "rough")

    def test_the_only_pulley_it_can_be_is_found(self, small):
        assert check_done(small, ("crank", "alternator"), "spin", None, "rough").part == (
            "alternator"
        )

    def test_a_check_of_the_whole_engine_has_no_part(self, small):
        assert check_done(small, DRIVE, "run", "belt", "gone").part is None

    @pytest.mark.parametrize(
        ("word", "part", "outcome", "says"),
        [
            ("spinn", "idler", "rough", '"spin"'),
            ("spin", "idler", "ruogh", '"rough"'),
            ("spin", None, "rough", "on idler, idler-2, alternator"),
            ("spin", "crank", "rough", "on idler"),
            ("spin", "idler-3", "rough", "idler-2"),
        ],
    )
    def test_what_cannot_be_is_refused(self, small, word, part, outcome, says):
        with pytest.raises(InputError) as caught:
            check_done(small, DRIVE, word, part, outcome)
        assert says in str(caught.value)

    def test_no_pulley_for_it(self, small):
        with pytest.raises(InputError, match="drive sheet"):
            check_done(small, ("crank",), "spin", "idler", "rough")


SPIN = ("check", "spin")
PAIR = {"name": "both", "weight": 1, "sounds": "a sound", "replace": "a part"}
TWICE = {
    "x": {"checks": ["spin"], "share": 0.5},
    "y": {"checks": ["spin", "run"], "share": 0.5},
}


@pytest.mark.parametrize(
    ("table", "says"),
    [
        (changed("versoin", to=1), 'nearest "version"'),
        (changed("version", drop=True), "version is missing"),
        (changed("access", to={}), "there is no access.belt-off"),
        (changed("access", "belt-off", "open_minutes", to=-1), "open_minutes is -1"),
        (changed("condition", "engine-cold", "assumed", to=1), "true or false"),
        (changed("repeat_share", to=1.5), "0 to 0.95"),
        (changed("pair", to={"idler.bearing": PAIR}), "must be two suspects"),
        (changed("pair", to={"idler.bearing+belt.slop": PAIR}), 'nearest "belt.slip"'),
        (changed("alike", to={"x": {"checks": ["spinn"], "share": 0.5}}), 'nearest "spin"'),
        (changed("alike", to={"x": {"checks": ["spin"], "share": 1}}), "0 to 0.95"),
        (changed("alike", to=TWICE), '"spin" stands in two groups'),
        (changed("suspect", "other", drop=True), "suspect.other is missing"),
        (changed("suspect", to=[]), "suspect must be groups"),
        (changed("suspect", "idlr.bearing", to=suspect("idler")), 'nearest "idler"'),
        (changed("suspect", "idler.baering", to=suspect("idler")), 'nearest "bearing"'),
        (changed("suspect", "idler.bearing", "needs", to="alternator"), 'must be "idler"'),
        (changed("suspect", "belt.slip", "needs", to="blet"), 'nearest "belt"'),
        (changed("suspect", "belt.slip", "weight", to=0), "weight is 0"),
        (changed("suspect", "belt.slip", "weight", to=True), "weight must be a number"),
        (changed("suspect", "belt.slip", "belt_driven", to="yes"), "true or false"),
        (changed("suspect", "belt.slip", "sounds", to=""), "sounds must be text"),
        (changed(*SPIN, "parts", to=["idlre"]), 'nearest "idler"'),
        (changed(*SPIN, "parts", to="idler"), "list of texts"),
        (changed(*SPIN, "engine", to="runing"), 'nearest "running"'),
        (changed(*SPIN, "belt", to="of"), 'nearest "off"'),
        (changed(*SPIN, "minutes", to=float("nan")), "minutes is nan"),
        (changed(*SPIN, "needs", to=["engine-clod"]), 'nearest "engine-cold"'),
        (changed(*SPIN, "access", to=["underside"]), '"underside" is not known'),
        (changed(*SPIN, "mishap", to={"chance": 2, "money": 1, "what": "x"}), "chance is 2"),
        (changed(*SPIN, "outcomes", "not-sure", to={"says": "x"}), 'has "not-sure" already'),
        (changed(*SPIN, "outcomes", to={"smooth": {"says": "x"}}), "two or more"),
        (changed(*SPIN, "outcomes", "rough", to={"says": "x", "also": ["smooth"]}), "stands for"),
        (changed(*SPIN, "likely", "otherwise", drop=True), "otherwise is missing"),
        (
            changed(*SPIN, "likely", "otherwise", to={"smooth": 0.9, "rough": 0.2}),
            "adds up to 1.1",
        ),
        (
            changed(*SPIN, "likely", "otherwise", to={"smooth": 1.0, "rough": 0.0}),
            "0.005 or more",
        ),
        (changed(*SPIN, "likely", "otherwise", to={"smooth": 1.0}), "rough is missing"),
        (
            changed(*SPIN, "likely", "otherwise", to={"smoth": 0.9, "rough": 0.1}),
            'nearest "smooth"',
        ),
        (
            changed(*SPIN, "likely", "idler.baering", to={"smooth": 0.9, "rough": 0.1}),
            'nearest "idler.bearing"',
        ),
        (
            changed(*SPIN, "likely", "belt-driven", to={"smooth": 0.9, "rough": 0.1}),
            '"belt-driven" is not known',
        ),
    ],
)
def test_what_is_wrong_is_named_with_the_nearest(table, says):
    with pytest.raises(InputError) as caught:
        parse_catalogue(table)
    assert says in str(caught.value)


def test_all_that_is_wrong_is_named_at_once():
    table = changed("suspect", "belt.slip", "weight", to=0)
    table["check"]["spin"]["engine"] = "on"
    del table["check"]["run"]["hazard"]
    with pytest.raises(InputError, match=r"weight.*engine.*hazard"):
        parse_catalogue(table)


class TestTwoAtOnce:
    @pytest.fixture
    def paired(self):
        return parse_catalogue(
            changed(
                "pair",
                to={
                    "idler.bearing+belt.slip": PAIR,
                    "alternator.bearing+idler.bearing": PAIR,
                },
            )
        )

    def test_single_suspects_stay_as_they_are(self, paired, small):
        assert suspects_for(paired, DRIVE) == suspects_for(small, DRIVE)

    def test_each_numbered_part_has_its_pair(self, paired):
        ids = [s.id for s in all_suspects_for(paired, DRIVE) if s.members]
        assert ids == [
            "idler.bearing+belt.slip",
            "idler-2.bearing+belt.slip",
            "alternator.bearing+idler.bearing",
            "alternator.bearing+idler-2.bearing",
        ]

    def test_a_car_without_one_member_has_no_pair(self, paired):
        ids = [s.id for s in all_suspects_for(paired, ("crank", "alternator")) if s.members]
        assert ids == []

    def test_the_more_telling_of_what_the_two_would_show(self, paired):
        pair = next(s for s in all_suspects_for(paired, DRIVE) if s.members)
        # By hand: smooth only if both show it, 0.3 x 0.8 under the hand, 0.9 x 0.8 elsewhere.
        spin = paired.check("spin")
        assert spin.likelihoods(pair, "idler")["smooth"] == pytest.approx(0.24)
        assert spin.likelihoods(pair, "idler-2")["smooth"] == pytest.approx(0.72)
        # The noise is gone only if it is of both: 0.95 x 0.95.
        gone = paired.check("run").likelihoods(pair)
        assert gone["stays"] == pytest.approx(1 - 0.95**2)
        assert sum(gone.values()) == pytest.approx(1.0)

    def test_a_row_of_its_own_comes_first(self):
        table = changed("pair", to={"idler.bearing+belt.slip": PAIR})
        table["check"]["run"]["likely"]["idler.bearing+belt.slip"] = {"gone": 0.6, "stays": 0.4}
        catalogue = parse_catalogue(table)
        pair = next(s for s in all_suspects_for(catalogue, DRIVE) if s.members)
        assert catalogue.check("run").likelihoods(pair)["gone"] == 0.6


class TestOwnEntriesLaidOver:
    def test_a_figure_alone(self):
        own = {"suspect": {"belt.slip": {"weight": 5}}, "check": {"spin": {"minutes": 4}}}
        catalogue = parse_catalogue(merged(SMALL, own))
        assert catalogue.check("spin").minutes == 4
        assert named(catalogue, "belt.slip").weight == 5
        assert catalogue.check("run") == parse_catalogue(SMALL).check("run")

    def test_a_row_is_replaced_whole(self):
        own = {"check": {"spin": {"likely": {"any.bearing": {"smooth": 0.5, "rough": 0.5}}}}}
        catalogue = parse_catalogue(merged(SMALL, own))
        likely = catalogue.check("spin").likelihoods(named(catalogue, "idler.bearing"), "idler")
        assert likely == {"smooth": 0.5, "rough": 0.5}
        half = {"check": {"spin": {"likely": {"any.bearing": {"rough": 0.5}}}}}
        with pytest.raises(InputError, match="smooth is missing"):
            parse_catalogue(merged(SMALL, half))

    def test_a_check_of_ones_own_and_one_left_out(self):
        own = {"check": {"smell": SMALL["check"]["run"], "run": {"leave_out": True}}}
        catalogue = parse_catalogue(merged(SMALL, own))
        assert [check.id for check in catalogue.checks] == ["spin", "smell"]

    def test_the_shipped_table_is_left_alone(self):
        before = copy.deepcopy(SMALL)
        merged(SMALL, {"suspect": {"belt.slip": {"weight": 5}}})
        assert before == SMALL


@pytest.mark.parametrize(
    ("word", "outcome"), [("not-sure", NOT_SURE), ("unclear", NOT_SURE), ("skip", NOT_DONE)]
)
def test_not_sure_and_not_done_belong_to_every_check(small, word, outcome):
    done = check_done(small, DRIVE, "spin", "idler", word)
    assert done.outcome is outcome
    assert not done.tells
