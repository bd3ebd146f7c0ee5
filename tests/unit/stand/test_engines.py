"""Models of several engines: which signals are whose, what is refused, and what the model is given."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np
import pytest

from leverproof.channels import CHANNELS
from leverproof.errors import InputError
from leverproof.stand.engines import engine_links
from leverproof.stand.mapped import MappedSession
from leverproof.stand.port import Array, Capabilities, Hello, Signal, StandFile, Start
from leverproof.stand.stand_file import parse_stand_file

BASE = 'format = 1\ntitle = "a twin"\nkind = "in_process"\ntarget = "m.py:f"\n'


def stand(text: str = "engines = 2\n") -> StandFile:
    return parse_stand_file(BASE + text, "twin.stand.toml", kinds=["in_process", "recording"])


def hello(inputs: str, outputs: str) -> Hello:
    """A model of these names, in the units of the channels."""

    def signals(words: str) -> tuple[Signal, ...]:
        plain = [re.sub(r"_\d$", "", word) for word in words.split()]
        units = [CHANNELS[name].unit if name in CHANNELS else "1" for name in plain]
        return tuple(Signal(word, symbol) for word, symbol in zip(words.split(), units, strict=True))

    return Hello("m", "1", signals(inputs), signals(outputs), Capabilities(lanes=4, max_values=1000))


TWIN = hello(
    "throttle_1 boost_1 throttle_2 boost_2 pressure_altitude",
    "manifold_pressure_1 engine_speed_1 manifold_pressure_2 engine_speed_2 ambient_pressure oil_2",
)


def test_our_names_with_a_number_behind_need_no_map() -> None:
    found = engine_links(stand(), TWIN)
    assert list(found) == [1, 2]
    for engine, links in found.items():
        names = {channel: link.signal.name for channel, link in links.inputs.items()}
        other = 3 - engine
        assert names == {
            "throttle": f"throttle_{engine}",
            "boost": f"boost_{engine}",
            "pressure_altitude": "pressure_altitude",
            "other_throttle": f"throttle_{other}",
            "other_boost": f"boost_{other}",
        }
        assert links.outputs["manifold_pressure"].signal.name == f"manifold_pressure_{engine}"
        assert links.unmapped_inputs == () and links.unmapped_outputs == ("oil_2",)
        assert links.warnings == ()


def test_without_engines_everything_is_as_it_was() -> None:
    (links,) = engine_links(stand(""), hello("throttle pressure_altitude", "manifold_pressure")).values()
    assert set(links.inputs) == {"throttle", "pressure_altitude"}


def test_a_template_is_written_once_and_words_may_stand_for_the_engines() -> None:
    text = (
        'engines = ["left", "right"]\n[channels.throttle]\nname = "{engine}-thr"\nunit = "%"\n'
        '[channels.manifold_pressure]\nname = "map of {engine}"\nunit = "kPa"\n'
        '[channels.pressure_altitude]\nname = "alt"\nunit = "m"\n'
    )
    said = Hello(
        "m",
        "1",
        (Signal("left-thr", "%"), Signal("right-thr", "%"), Signal("alt", "m")),
        (Signal("map of left", "kPa"), Signal("map of right", "kPa")),
        Capabilities(),
    )
    found = engine_links(stand(text), said)
    assert found[2].inputs["throttle"].signal.name == "right-thr"
    assert found[2].inputs["other_throttle"].signal.name == "left-thr"
    assert found[1].outputs["manifold_pressure"].signal.name == "map of left"
    assert found[1].inputs["other_throttle"].scale == pytest.approx(0.01)


def test_a_map_that_only_states_a_unit_finds_the_numbered_name() -> None:
    found = engine_links(stand('engines = 2\n[channels.manifold_pressure]\nunit = "hPa"\n'), TWIN)
    assert found[2].outputs["manifold_pressure"].signal.name == "manifold_pressure_2"
    assert found[2].outputs["manifold_pressure"].unit == "hPa"


def test_a_lever_that_all_share_is_nobody_elses() -> None:
    said = hello("throttle_1 throttle_2 propeller", "manifold_pressure_1 manifold_pressure_2")
    found = engine_links(stand(), said)
    assert found[1].inputs["propeller"] == found[2].inputs["propeller"]
    assert "other_propeller" not in found[1].inputs


@pytest.mark.parametrize(
    ("text", "said", "words", "hint"),
    [
        ("engines = 3\n", TWIN, "no engine 3: no lever is its own, such as 'throttle_3'", "throttle_2"),
        ("engines = 2\n", hello("throttle", "manifold_pressure"), "no engine 1", "throttle"),
        (
            "engines = 2\n",
            hello("throttle_1 throttle_2", "manifold_pressure"),
            "no reading is its own, such as 'manifold_pressure_1'",
            "manifold_pressure",
        ),
        (
            'engines = 2\n[channels.throttle]\nname = "throttle_1"\n',
            hello("throttle_1", "manifold_pressure_1 manifold_pressure_2"),
            "no lever is its own",
            "throttle_1",
        ),
        (
            'engines = 3\n[channels.throttle]\nname = "throttle_{engine}"\n',
            TWIN,
            "engine 3: the model has no input 'throttle_3' for throttle",
            "throttle_2",
        ),
        ("engine = 2\n", hello("throttle", "manifold_pressure"), "no engine 1", "throttle"),
    ],
)
def test_an_engine_that_the_model_does_not_have(text: str, said: Hello, words: str, hint: str) -> None:
    with pytest.raises(InputError) as caught:
        engine_links(stand(text), said)
    assert words in caught.value.message
    assert hint in caught.value.hint
    assert caught.value.where.startswith("twin.stand.toml: ")


def test_what_one_engine_lacks_is_told() -> None:
    said = hello("throttle_1 throttle_2 boost_1", "manifold_pressure_1 manifold_pressure_2 engine_speed_2")
    found = engine_links(stand(), said)
    assert found[2].warnings == ("engine 2 has no boost, which engine 1 has",)
    assert found[1].warnings == ("engine 1 has no engine_speed, which engine 2 has",)
    assert "boost" not in found[2].inputs and found[2].inputs["other_boost"].signal.name == "boost_1"


class Told:
    """A session that keeps what it was given."""

    def __init__(self, said: Hello) -> None:
        self.said = said
        self.names: tuple[str, ...] = ()
        self.rows: Array = np.empty(0)

    def hello(self) -> Hello:
        return self.said

    def initialise(
        self, starts: Sequence[Start], step_ticks: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Array:
        self.names = tuple(inputs)
        self.rows = np.array([start.row for start in starts])
        return np.zeros((len(starts), len(outputs)))

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        self.rows = rows
        return np.zeros((len(rows), len(lanes), 1))

    def reset(self) -> None:
        pass

    def close(self) -> None:
        pass


FOUR = Hello(
    "m",
    "1",
    tuple(
        signal
        for k in "1234"
        for signal in (
            Signal(f"throttle_{k}", "%"),
            Signal(f"mixture_{k}", "1", ("full_rich", "auto_rich", "auto_lean", "cut_off")),
        )
    ),
    tuple(Signal(f"manifold_pressure_{k}", "inHg") for k in "1234"),
    Capabilities(max_values=800),
)


def test_one_lever_of_ours_moves_that_of_all_other_engines_in_their_units() -> None:
    model = Told(FOUR)
    session = MappedSession(model, engine_links(stand("engines = 4\n"), FOUR)[3])
    inputs = ("other_mixture", "throttle", "other_throttle", "mixture")
    session.initialise([Start("running", (0.0, 0.25, 0.5, 2.0))], 1800, inputs, ["manifold_pressure"])
    session.advance([0], np.array([[[3.0, 0.75, 1.0, 1.0]]]))
    given = dict(zip(model.names, model.rows[0, 0].tolist(), strict=True))
    assert given == {
        "throttle_1": 100.0, "throttle_2": 100.0, "throttle_3": 75.0, "throttle_4": 100.0,
        "mixture_1": 0.0, "mixture_2": 0.0, "mixture_3": 2.0, "mixture_4": 0.0,
    }  # fmt: skip


def test_messages_stay_within_what_the_model_takes() -> None:
    links = engine_links(stand("engines = 4\n"), FOUR)[1]
    said = MappedSession(Told(FOUR), links).hello()
    assert [signal.name for signal in said.inputs] == ["throttle", "mixture", "other_throttle", "other_mixture"]
    # Four columns of ours are eight of the model's.
    assert said.capabilities.max_values == 400
    alone = hello("throttle", "manifold_pressure")
    (links,) = engine_links(stand(""), alone).values()
    assert MappedSession(Told(alone), links).hello().capabilities == alone.capabilities


@pytest.mark.parametrize(
    ("text", "engines", "tested"),
    [
        ("", ("1",), (1,)),
        ("engine = 1\n", ("1",), (1,)),
        ("engine = 2\n", ("1", "2"), (2,)),
        ("engine = [4, 1]\n", ("1", "2", "3", "4"), (4, 1)),
        ("engines = 3\n", ("1", "2", "3"), (1, 2, 3)),
        ("engines = 3\nengine = 2\n", ("1", "2", "3"), (2,)),
        ('engines = ["L", "R"]\n', ("L", "R"), (1, 2)),
        ('engines = ["L", "R"]\nengine = 2\n', ("L", "R"), (2,)),
    ],
)
def test_how_many_there_are_and_which_are_tested(text: str, engines: tuple[str, ...], tested: tuple[int, ...]) -> None:
    found = stand(text)
    assert (found.engines, found.tested, found.engine) == (engines, tested, tested[0])


def test_where_the_others_are_held() -> None:
    found = stand('engines = 2\n[held]\nthrottle = 0.4\nmixture = "auto_lean"\nboost = "back"\npropeller = "80 %"\n')
    assert found.held == {"throttle": 0.4, "mixture": 1.0, "boost": 0.0, "propeller": 0.8}


@pytest.mark.parametrize(
    ("text", "words", "hint"),
    [
        ("engine = 3\nengines = 2\n", "engine 3 is tested and the model has 2 engines", "from 1 to 2"),
        ("engine = [1, 1]\n", "", ""),
        ("engine = []\n", "", ""),
        ("engine = 0\n", "", ""),
        ("engine = true\n", "", ""),
        ("engines = 9\n", "", ""),
        ('engines = ["a", "a"]\n', "", ""),
        ("[held]\nthrottle = 0.4\n", "no other engine to hold", "how many"),
        ("engines = 2\n[held]\ntrottle = 0.4\n", "'trottle' is no lever", "throttle"),
        ("engines = 2\n[held]\nthrottle = 1.4\n", "lies between 0 and 1", ""),
        ("engines = 2\n[held]\nthrottle = nan\n", "", ""),
        ('engines = 2\n[held]\nthrottle = "opne"\n', "no position 'opne'", "open"),
        ("engines = 2\n[held]\nmixture = 2\n", "held by a word", "auto_rich"),
        ('engines = 2\n[held]\nthrottle = "3 inHg"\n', "", ""),
        ('engines = 2\n[channels.other_throttle]\nname = "x"\n', "not mapped", "{engine}"),
    ],
)
def test_keys_that_mean_nothing_are_refused(text: str, words: str, hint: str) -> None:
    with pytest.raises(InputError) as caught:
        stand(text)
    assert words in caught.value.message and hint in caught.value.hint
    assert "twin.stand.toml:" in caught.value.where
