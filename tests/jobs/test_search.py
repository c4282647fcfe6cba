"""Jobs are found by anything written on them, also mistyped; the same on both databases."""

from __future__ import annotations

import difflib
import unicodedata
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from beltside.base.errors import InputError
from beltside.jobs.database import Database, open_database
from beltside.jobs.record import Record
from beltside.jobs.search import Search
from beltside.jobs.search_words import rebuild, uses_kept, uses_wanted
from beltside.jobs.words import distinct_words, fold, keys_of_word, slip_keys, slips, words_of

# An invented shop: owner, plate, VIN, complaint, and what was found.
JOBS: list[list[tuple[str, dict[str, Any]]]] = [
    [
        ("owner", {"name": "Åsa Lindqvist", "phone": "+46 70 123 45 67"}),
        ("car", {"plate": "KLM 12-ABC", "vin": "XZB7T2KA9D1004711", "name": "Tarn 1.4"}),
        ("complaint", {"words": "It sings when cold, worse in the wet.", "when": ["at idle"]}),
        ("outcome", {"cause": "coolant-pump.bearing", "closed": True}),
    ],
    [
        ("owner", {"name": "Jürgen Groß"}),
        ("car", {"plate": "b-tr 903", "vin": "XZB7T2KA9D1004812", "name": "Tarn 1.6"}),
        ("complaint", {"words": "Chirps at idle"}),
        ("part-used", {"name": "idler", "number": "06K-903.341/B"}),
        ("outcome", {"cause": "idler.bearing", "closed": True}),
    ],
    [
        ("owner", {"name": "Łukasz Øster"}),
        ("car", {"plate": "ＫＲ　７７１", "name": "van"}),
        ("complaint", {"words": "鳴る音がする when turning"}),
        ("note", {"words": "Serpentine belt glazed; alternator pulley overruns. " * 12}),
        ("drive-sheet", {"toml": "name = 'hidden'", "picture": "ab" * 32}),
        ("take", {"file": "cd" * 32, "name": "memo-secret.m4a", "place": "alternator"}),
    ],
]


@pytest.fixture
def shop(record: Record) -> list[str]:
    return [record.new_job(entries, by="Ida").job.id for entries in JOBS]


@pytest.mark.parametrize(
    ("asked", "job"),
    [
        ("Lindqvist", 0),
        ("lindkvist", 0),  # a wrong letter
        ("asa", 0),  # no accent
        ("KLM12ABC", 0),  # plate without spaces
        ("klm 12 abc", 0),
        ("KLM-12-ABC", 0),
        ("KLM 12 ABD", 0),  # misread
        ("xzb7t2ka9d1004711", 0),
        ("XZB7T2KA9 D1004711", 0),  # VIN in two pieces
        ("XZB7T2KA9D1O04711", 0),  # letter O for zero
        ("004711", 0),  # the VIN's last digits
        ("0701234567", 0),
        ("701234567", 0),
        ("sings cold", 0),
        ("coolant pump", 0),
        ("coolantpump", 0),
        ("collant pmup baering", 0),  # a slip in each word
        ("gross", 1),
        ("JUERGEN", 1),
        ("Tarn 1.6", 1),
        ("06k903341b", 1),
        ("06K 903 341", 1),
        ("903341", 1),
        ("chirp", 1),  # the beginning of a word
        ("oster lukasz", 2),
        ("KR771", 2),  # typed in full-width letters
        ("kr 771", 2),
        ("鳴る音", 2),
        ("serpentin", 2),
        ("alternater", 2),
        ("overun glased", 2),
    ],
)
def test_the_right_job_comes_first(
    database: Database, shop: list[str], asked: str, job: int
) -> None:
    found = Search(database).find(asked)
    assert found[0].job_id == shop[job]
    assert found[0].number == job + 1
    assert found[0].where


@pytest.mark.parametrize(
    "asked", ["", "  -- ", "zzzzzz", "hidden", "secret", "ab" * 32, "\0\ud83d"]
)
def test_what_stands_nowhere_or_is_for_machines(
    database: Database, shop: list[str], asked: str
) -> None:
    assert Search(database).find(asked) == []


def test_where_it_stands(database: Database, shop: list[str]) -> None:
    (found,) = Search(database).find("klm12abc", 1)
    assert [(one.kind, one.field, one.snippet) for one in found.where] == [
        ("car", "plate", "KLM 12-ABC")
    ]
    found = Search(database).find("glazed asa bearing")[0]
    assert len(found.where) <= 3
    (long,) = Search(database).find("overruns", 1)
    assert "overruns" in long.where[0].snippet
    assert len(long.where[0].snippet) <= 92


def test_rare_words_and_more_of_them_count_more(record: Record) -> None:
    for number in range(20):
        record.new_job([("note", {"words": "bearing hums"})], by="Ida", job_id=f"c{number}")
    record.new_job([("note", {"words": "bearing squeals"})], by="Ida", job_id="rare")
    record.new_job([("note", {"words": "bearing"})], by="Ida", job_id="newest")
    search = Search(record.database)
    assert search.find("squeals hums")[0].job_id == "rare"
    assert search.find("bearing")[0].job_id == "newest"
    both = search.find("bearing hums", 30)
    assert [one.job_id for one in both[:20]] == [f"c{number}" for number in reversed(range(20))]
    assert len(both) == 22


def test_an_exact_word_counts_more_than_a_slip(record: Record) -> None:
    record.new_job([("owner", {"name": "Berg"})], by="Ida", job_id="exact")
    for number in range(3):
        record.new_job([("owner", {"name": "Borg"})], by="Ida", job_id=f"slip{number}")
    found = Search(record.database).find("berg")
    assert [one.job_id for one in found] == ["exact", "slip2", "slip1", "slip0"]


def test_a_common_word_means_only_itself(database: Database) -> None:
    record = Record(database)
    for number in range(120):
        record.new_job([("note", {"words": "belt"})], by="Ida", job_id=f"c{number}")
    record.new_job([("note", {"words": "bolt"})], by="Ida", job_id="bolt")
    search = Search(database)
    assert "bolt" not in {one.job_id for one in search.find("belt", 200)}
    assert search.find("bolt", 200)[0].job_id == "bolt"
    assert len(search.find("belt", 200)) == 120


def test_changes_are_found_at_once_and_the_removed_vanishes(record: Record) -> None:
    search = Search(record.database)
    job = record.new_job(by="Ida").job
    made = record.add(job.id, "note", {"words": "hums quietly"}, by="Ida")
    other = record.add(job.id, "note", {"words": "quietly"}, by="Ida")
    record.change(made.id, {"words": "howls quietly"}, by="Ida")
    assert search.find("hums") == []
    assert [one.job_id for one in search.find("howls")] == [job.id]
    record.remove(made.id, by="Ida")
    assert search.find("howls") == []
    assert search.find("quietly")[0].where[0].entry_id == other.id
    record.bring_back(made.id, 1, by="Ida")
    assert [one.job_id for one in search.find("hums")] == [job.id]
    record.remove(other.id, by="Ida")
    record.remove(made.id, by="Ida")
    with record.database.reading() as connection:
        for table in ("term", "term_gram", "term_use"):
            left = connection.exec_driver_sql(f"SELECT count(*) FROM {table}").scalar()
            assert (table, left) == (table, 0)


def test_made_anew_it_is_the_same(database: Database, shop: list[str]) -> None:
    asked = ["lindkvist", "bearing", "tarn", "at idle", "4711"]
    before = [Search(database).find(words) for words in asked]
    with database.reading() as connection:
        kept = uses_kept(connection)
        assert kept == uses_wanted(connection)
    rebuild(database)
    with database.reading() as connection:
        assert uses_kept(connection) == kept
    assert [Search(database).find(words) for words in asked] == before


@pytest.mark.parametrize("limit", [0, 201])
def test_a_limit_out_of_range(database: Database, limit: int) -> None:
    with pytest.raises(InputError, match="1 to 200"):
        Search(database).find("a", limit)


def test_a_question_of_any_length(database: Database, shop: list[str]) -> None:
    assert Search(database).find("lindqvist " + "x1 " * 5000)[0].job_id == shop[0]
    assert Search(database).find("a1" * 5000) == []


def test_both_databases_give_the_same(server: Any) -> None:
    """The same writes on both, then every question: names of jobs, scores and places."""
    url = server.give()
    asked = ["bearing", "tarn", "klm12abd", "b", "1 4", "groß", "idle", "coolant pmp", "鳴る音"]
    answers = []
    for address in ("sqlite://", url):
        with open_database(address) as database:
            record = Record(database)
            for number, entries in enumerate(JOBS * 4):
                record.new_job(entries, by="Ida", job_id=f"j{number}")
            answers.append(
                [
                    [
                        (one.job_id, one.score, [(w.kind, w.field, w.snippet) for w in one.where])
                        for one in Search(database).find(words)
                    ]
                    for words in asked
                ]
            )
    server.take_back(url)
    assert all(answers[0])
    assert answers[0] == answers[1]


# Words ------------------------------------------------------------------------------------------


@given(st.text(max_size=30))
def test_folding_forgets_case_accents_and_width(text: str) -> None:
    """Case folding and normal forms as Python's unicodedata has them (Unicode annex 15)."""
    folded = fold(text)
    assert fold(folded) == folded
    assert fold(unicodedata.normalize("NFD", text)) == folded
    assert fold(unicodedata.normalize("NFC", text)) == folded


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("É", "e"),
        ("ＴＡＲＮ", "tarn"),
        ("Straße", "STRASSE"),
        ("ﬁ", "FI"),
        ("Ångström", "angstrom"),
        ("ΣΊΣΥΦΟΣ", "σισυφος"),
        ("Ёлка", "елка"),
        ("½", "1⁄2"),
    ],
)
def test_the_same_word_typed_otherwise(one: str, other: str) -> None:
    assert fold(one) == fold(other)


def test_vowels_of_other_scripts_are_letters() -> None:
    assert fold("कि") != fold("का")
    assert words_of("ตลับลูกปืน")


LETTERS = st.text("abcde1", min_size=3, max_size=14)


@given(LETTERS, st.data())
@settings(max_examples=150)
def test_a_slip_is_always_looked_at(word: str, data: st.DataObject) -> None:
    """One letter wrong, missing, too many or two exchanged: the keys of both meet often enough."""
    at = data.draw(st.integers(0, len(word) - 1))
    letter = data.draw(st.sampled_from("abcde1"))
    slipped = data.draw(
        st.sampled_from(
            [
                word[:at] + letter + word[at + 1 :],
                word[:at] + word[at + 1 :],
                word[:at] + letter + word[at:],
                word[:at] + word[at : at + 2][::-1] + word[at + 2 :],
            ]
        )
    )
    assert slips(slipped, word, 2) <= 1
    if len(slipped) >= 3 and len(set(word)) > 2:
        keys, least = slip_keys(slipped)
        # Words of few distinct groups may share less; the search is for words people write.
        met = len(keys & keys_of_word(word))
        assert met >= 1
        if len(set(_triples(word))) == len(_triples(word)):
            assert met >= least


def _triples(word: str) -> list[str]:
    padded = f"  {word} "
    return [padded[at : at + 3] for at in range(len(padded) - 2)]


@given(LETTERS, LETTERS)
def test_slips_against_a_table_of_all_pairs(one: str, other: str) -> None:
    """Optimal string alignment by its recursion (Boytsov, 2011), and difflib for equal words."""
    most = 3
    assert slips(one, other, most) == min(alignment(one, other), most + 1)
    assert (slips(one, other, most) == 0) == (
        difflib.SequenceMatcher(None, one, other).ratio() == 1.0
    )


def alignment(one: str, other: str) -> int:
    table = [
        [max(i, j) if not i or not j else 0 for j in range(len(other) + 1)]
        for i in range(len(one) + 1)
    ]
    for i in range(1, len(one) + 1):
        for j in range(1, len(other) + 1):
            table[i][j] = min(
                table[i - 1][j] + 1,
                table[i][j - 1] + 1,
                table[i - 1][j - 1] + (one[i - 1] != other[j - 1]),
            )
            if i > 1 and j > 1 and one[i - 1] == other[j - 2] and one[i - 2] == other[j - 1]:
                table[i][j] = min(table[i][j], table[i - 2][j - 2] + 1)
    return table[-1][-1]


def test_machine_text_and_hashes_are_no_words() -> None:
    body = {
        "toml": "x",
        "words": "see " + "0f" * 32,
        "result": {"says": "y"},
        "file": "a" * 64,
        "name": "IMG_1.m4a",
        "replaced": ["belt.slip"],
    }
    assert distinct_words(body) == {"see", "belt", "slip", "beltslip"}
