"""What is not plainly one JSON object is refused, and nothing is coerced."""

import io
import json
from typing import Any

import pytest
from django.test import RequestFactory
from hypothesis import given, strategies as st
from rest_framework import serializers

from gearroom.core.acts import Invalid, TooLarge
from gearroom.core.api.requests.parsing import StrictMultiPartParser, read_object
from gearroom.core.api.requests.serializers import NoteField, QuerySerializer, StrictSerializer


@pytest.mark.parametrize(
    ("raw", "says"),
    [
        (b"", "not JSON"),
        (b"{", "not JSON"),
        (b"{} {}", "not JSON"),
        (b"{'a': 1}", "not JSON"),
        (b'{"a": 1,}', "not JSON"),
        (b'{"a": 01}', "not JSON"),
        (b'\xef\xbb\xbf{"a": 1}', "not JSON"),
        (b'{"a": "\xff"}', "not UTF-8"),
        ('{"a": "é"}'.encode("utf-16"), "not UTF-8"),
        (b'{"a": NaN}', "NaN is not"),
        (b'{"a": -Infinity}', "-Infinity is not"),
        (b'{"a": 1e999}', "beyond what a double holds"),
        (b'{"a": 9223372036854775808}', "beyond 64 bits"),
        (b'{"a": ' + b"9" * 100_000 + b"}", "beyond 64 bits"),
        (b'{"a": 1, "a": 1}', "“a” is there more than once"),
        (b'{"b": {"a": 1, "a": 2}}', "“a” is there more than once"),
        (b'{"a": "\\u0000"}', "NUL"),
        (b'{"\\u0000": 1}', "NUL"),
        (b'{"a": ["\\ud800"]}', "surrogate"),
        (b"[]", "has to be a JSON object"),
        (b"null", "has to be a JSON object"),
        (b'"a"', "has to be a JSON object"),
        (b'{"a": ' + b"[" * 30 + b"]" * 30 + b"}", "nested more than"),
        (b'{"a": ' + b"[" * 400_000 + b"}", "nested more than"),
        (b'{"a": ' * 200_000, "nested more than"),
    ],
    ids=lambda value: repr(value)[:30],
)
def test_it_refuses_a_body_that_is_not_one_plain_object(raw: bytes, says: str) -> None:
    with pytest.raises(Invalid, match=says) as caught:
        read_object(raw)
    assert caught.value.code == "malformed-body"


plain = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**63) + 1, 2**63 - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0")),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text("ab"), inner, max_size=3),
    max_leaves=8,
)


@given(st.dictionaries(st.text("abcé"), plain))
def test_it_reads_every_plain_object_as_json_does(value: dict[Any, Any]) -> None:
    assert read_object(json.dumps(value).encode()) == value
    assert read_object(json.dumps(value, ensure_ascii=False).encode()) == value


@given(st.binary(max_size=60))
def test_any_other_bytes_are_a_problem_and_nothing_worse(raw: bytes) -> None:
    try:
        read_object(raw)
    except Invalid as problem:
        assert problem.detail


def multipart(body: bytes, length: int | None = None) -> Any:
    """What the parser makes of a multipart body with the boundary "b"."""
    kind = "multipart/form-data; boundary=b"
    request = RequestFactory().generic("POST", "/", content_type=kind)
    request.META["CONTENT_LENGTH"] = str(len(body) if length is None else length)
    context = {"request": request, "encoding": "utf-8"}
    return StrictMultiPartParser().parse(io.BytesIO(body), kind, context)


def part(name: str, value: str, more: str = "") -> bytes:
    return f'--b\r\nContent-Disposition: form-data; name="{name}"{more}\r\n\r\n{value}\r\n'.encode()


END = b"--b--\r\n"


def test_parts_are_one_plain_mapping() -> None:
    found = multipart(part("text", "é") + part("image", "JPEG", '; filename="a.jpg"') + END)
    assert found["text"] == "é"
    assert (found["image"].name, found["image"].read()) == ("a.jpg", b"JPEG")


def test_what_comes_after_the_last_part_does_not_count_as_missing() -> None:
    assert multipart(part("text", "a") + END + b"x" * 500) == {"text": "a"}


@pytest.mark.parametrize(
    ("body", "length", "says"),
    [
        (part("a", "1") + part("a", "2") + END, None, "“a” is there more than once"),
        (part("a", "1") + part("a", "2", '; filename="a"') + END, None, "more than once"),
        (part("a", "1\0") + END, None, "NUL"),
        (part("a", "1") + END, 500, "broke off after"),
        (part("image", "JPEG" * 50_000, '; filename="a.jpg"')[:-9], 300_000, "broke off after"),
    ],
)
def test_it_refuses_parts_that_are_not_plain_or_not_whole(
    body: bytes, length: int | None, says: str
) -> None:
    with pytest.raises(Invalid, match=says) as caught:
        multipart(body, length)
    assert caught.value.code == "malformed-body"


def test_it_refuses_parts_beyond_the_limit_unread() -> None:
    with pytest.raises(TooLarge, match="at most"):
        multipart(b"", 2 * 1024**3)


class Line(StrictSerializer):
    units = serializers.IntegerField(min_value=0)


class Body(StrictSerializer):
    whole = serializers.IntegerField(required=False)
    nothing = serializers.IntegerField(required=False, allow_null=True)
    flag = serializers.BooleanField(required=False)
    price = serializers.DecimalField(required=False, max_digits=8, decimal_places=2)
    text = serializers.CharField(required=False, max_length=10)
    note = NoteField(required=False)
    key = serializers.UUIDField(required=False)
    day = serializers.DateField(required=False)
    instant = serializers.DateTimeField(required=False)
    kind = serializers.ChoiceField(choices=["a", "1"], required=False)
    several = serializers.ListField(child=serializers.IntegerField(), required=False)
    lines = Line(many=True, required=False)
    one = Line(required=False)


UUID = "123e4567-e89b-42d3-a456-426614174000"
RIGHT: dict[str, list[Any]] = {
    "whole": [0, -3, 2**31 - 1],
    "nothing": [None, 1],
    "flag": [True, False],
    "price": ["12.50", "0", "-1.5"],
    "text": ["a", "é ñ 漢字", "👩🏽‍🚒"],
    "note": ["two\nlines\tand a tab"],
    "key": [UUID, UUID.upper()],
    "day": ["2024-02-29", "1970-01-01", "2199-12-31"],
    "instant": ["2026-05-31T08:15:00Z", "2026-05-31T08:15:00.123456+05:45"],
    "kind": ["a", "1"],
    "several": [[], [1, 2]],
    "lines": [[], [{"units": 1}]],
    "one": [{"units": 0}],
}
WRONG: dict[str, list[Any]] = {
    "whole": ["3", 3.5, 1e300, True, None, [], {}, 2**31, -(2**31), 2**63 - 1],
    "nothing": ["", "null", False],
    "flag": ["true", 1, 0, None, "yes"],
    "price": [12.5, 12, "1e3", "NaN", "Infinity", "1,5", "", "12.505", "1_0", "١", True],
    "text": [1, True, None, ["a"], "", "   ", "a\nb", "a\x1b[0m", "a\x85b", "12345678901"],
    "note": ["a\x00", "a\x07", 3],
    "key": ["", UUID[:-1], f"{{{UUID}}}", f"urn:uuid:{UUID}", UUID.replace("-", ""), 5, None],
    "day": ["2026-02-29", "20260531", "2026-W01-1", "2026-5-1", "31/05/2026", "", 20260531,
            "2026-05-31T00:00:00Z", "0000-01-01", "1969-12-31", "9999-12-31", "٢٠٢٦-٠٥-٣١"],
    "instant": ["2026-05-31T08:15:00", "2026-05-31 08:15:00Z", "2026-05-31", "2026-05-31T25:00:00Z",
                "2026-05-31T08:15:60Z", "2026-05-31T08:15:00+25:00", 1780000000, "", "now",
                "0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00"],
    "kind": ["b", 1, True, None, ["a"], ""],
    "several": [1, "1", [1, "2"], [True], [None], {"0": 1}, [[1]]],
    "lines": [{}, [1], [{"units": "1"}], [{"units": 1, "more": 1}], [{}], [None], "[]"],
    "one": [[], {"units": 1.5}, {}, None, 1],
}  # fmt: skip


@pytest.mark.parametrize(("name", "value"), [(n, v) for n, vs in RIGHT.items() for v in vs])
def test_it_takes_what_has_the_right_type_and_form(name: str, value: Any) -> None:
    body = Body(data={name: value})
    assert body.is_valid(), body.errors


def test_a_whole_number_is_one_however_json_writes_it() -> None:
    body = Body(data={"whole": 3.0, "one": {"units": 1e3}})
    assert body.is_valid(), body.errors
    values = (body.validated_data["whole"], body.validated_data["one"]["units"])
    assert values == (3, 1000) and {type(value) for value in values} == {int}


@pytest.mark.parametrize(("name", "value"), [(n, v) for n, vs in WRONG.items() for v in vs])
def test_it_refuses_what_is_only_nearly_so_and_names_the_field(name: str, value: Any) -> None:
    body = Body(data={name: value})
    assert not body.is_valid()
    assert list(body.errors) == [name]


def test_it_refuses_a_field_it_does_not_know_and_lists_those_it_does() -> None:
    body = Body(data={"whole": 1, "hole": 1})
    assert not body.is_valid()
    assert "Known: day, flag" in body.errors["hole"][0]


def test_it_names_every_wrong_field_at_once() -> None:
    body = Body(data={"whole": "1", "flag": 1, "more": 1})
    assert not body.is_valid()
    assert set(body.errors) == {"whole", "flag", "more"}


def test_it_refuses_to_be_built_around_a_lenient_part() -> None:
    class Lenient(serializers.Serializer[Any]):
        units = serializers.IntegerField()

    class Outer(StrictSerializer):
        inner = Lenient()
        when = serializers.TimeField()

    for data in ({"inner": {"units": 1}}, {"when": "08:15"}):
        with pytest.raises(TypeError):
            Outer(data=data).is_valid()


class Query(QuerySerializer):
    whole = serializers.IntegerField(required=False, min_value=1)
    flag = serializers.BooleanField(required=False)
    day = serializers.DateField(required=False)
    number = serializers.FloatField(required=False)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("number=-1.5e-309", -1.5e-309),
        ("number=2", 2.0),
        ("whole=7", 7),
        ("flag=true", True),
        ("flag=false", False),
        ("flag=True", True),
    ],
)
def test_query_parameters_are_texts_of_the_same_forms(text: str, value: float | int | bool) -> None:
    name, _, raw = text.partition("=")
    query = Query(data={name: raw})
    assert query.is_valid() and query.validated_data == {name: value}


@pytest.mark.parametrize(
    "text",
    ["whole=", "whole=0", "whole=1.0", "whole=+1", "whole= 1", "whole=1_0", "whole=٣", "whole=0x1",
     "whole=99999999999999999999", "flag=1", "flag=TRUE", "flag=", "day=today", "other=1",
     "number=1e999", "number=inf", "number=nan", "number=1,5", "number=."],
)  # fmt: skip
def test_a_wrong_query_parameter_is_refused(text: str) -> None:
    name, _, raw = text.partition("=")
    query = Query(data={name: raw})
    assert not query.is_valid() and list(query.errors) == [name]
