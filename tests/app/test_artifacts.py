"""The artefact of a fit: read back as written, and refused where anything about it is not as it was."""

import hashlib
import io
import json
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from app.risk.risk import answer_risk
from app.schemas.risk import RiskRequest
from app.serving.artifacts import FitRecord, from_artefact, to_artefact
from app.serving.engine import Engine
from app.serving.manifest import ArtefactError, Manifest
from model.predict.predict import PosteriorDraws
from model.prior.priors import ParameterDraws
from model.reference.tables import load_reference
from tests.app.fits import FITTED_AT, fit_anew, fitted

QUERIES = RiskRequest.model_validate_json(
    json.dumps(
        {
            "queries": [
                {"genus": "Aglaonema", "transit_days": 6, "temperature": {"inside_c": 24}},
                {"genus": "Inventia", "seller": "invented ferns", "transit_days": 4, "temperature": {"inside_c": 12}},
                {"genus": "Hoya", "ship_date": "2023-05-01", "transit_days": 9, "temperature": {"inside_c": 20}},
            ]
        }
    )
)


def changed(**fields: Any) -> str:
    """Return the manifest with fields changed, its hash as it was."""
    return json.dumps(json.loads(fitted()[0].manifest.model_dump_json()) | fields)


def resealed(arrays: bytes | None = None, **fields: Any) -> str:
    """Return the manifest with fields changed and the hash of that, as somebody would write it who knows how."""
    return Manifest.model_validate_json(changed(**fields)).sealed(arrays or fitted()[1]).model_dump_json()


def level_names(**kinds: Any) -> dict[str, Any]:
    """Return the names of the levels with those of some kinds changed."""
    return dict(json.loads(changed())["levels"]) | kinds


def replaced(array_name: str, array: Any) -> tuple[str, bytes]:
    """Return an artefact that is whole, its hash included, but for one array."""
    with np.load(io.BytesIO(fitted()[1])) as stored:
        arrays = {name: stored[name] for name in stored.files} | {array_name: array}
    buffer = io.BytesIO()
    np.savez(buffer, **arrays)
    return resealed(buffer.getvalue()), buffer.getvalue()


def test_what_is_read_back_answers_byte_for_byte_alike() -> None:
    model, data = fit_anew()
    again = from_artefact(model.manifest.model_dump_json(), data, load_reference())
    assert again.manifest == model.manifest
    assert again.times == model.times
    assert again.times.lanes
    assert again.counts.levels == model.counts.levels
    for kind, levels in model.draws.effects.items():
        for level, draws in levels.items():
            np.testing.assert_array_equal(again.draws.effects[kind][level], draws)
    one, other = (answer_risk(QUERIES, Engine.of("fit", m)) for m in (model, again))
    assert one == other
    assert one != answer_risk(QUERIES, Engine.load()).replace(b"rules-", b"fit")


def test_arrays_are_plain_and_names_stand_in_the_manifest() -> None:
    model, data = fitted()
    with np.load(io.BytesIO(data), allow_pickle=False) as stored:
        assert {stored[name].dtype.kind for name in stored.files} <= set("fi")
    levels = json.loads(model.manifest.model_dump_json())["levels"]
    assert "Aglaonema" in levels["genus"]
    assert all(isinstance(seller, str) and isinstance(quarter, int) for seller, quarter in levels["drift"])
    # By hand: the manifest without its own hash, its length and a line end before it, the arrays after it.
    own = model.manifest.model_dump_json(exclude={"sha256"}).encode()
    assert model.manifest.sha256 == hashlib.sha256(str(len(own)).encode() + b"\n" + own + data).hexdigest()
    assert (model.manifest.n_boxes, model.manifest.n_lines) == (15, 45)


@pytest.mark.parametrize("place", [0, 200, -1])
def test_changed_bytes_are_refused(place: int) -> None:
    model, data = fitted()
    tampered = bytearray(data)
    tampered[place] ^= 1
    with pytest.raises(ArtefactError, match="SHA-256"):
        from_artefact(model.manifest.model_dump_json(), bytes(tampered), load_reference())
    with pytest.raises(ArtefactError, match="SHA-256"):
        from_artefact(model.manifest.model_dump_json(), data[:-1], load_reference())


@pytest.mark.parametrize(
    ("manifest", "words"),
    [
        (lambda: resealed(reference_fingerprint="00000000"), "other tables, constants or code .00000000"),
        (lambda: changed(format=1), "format 1, this version reads 4: refit"),
        (lambda: changed(more=1), "1 faults"),
        (lambda: changed(fitted_at="2027-02-30T09:00:00Z"), "1 faults"),
        (lambda: changed(fitted_at="2027-02-01T09:00:00"), "1 faults"),
        (lambda: changed(n_boxes=14), "SHA-256"),
        (lambda: changed(levels=level_names(genus=list(reversed(level_names()["genus"])))), "SHA-256"),
        (lambda: resealed(levels=level_names(genus=list(reversed(level_names()["genus"])))), "genus are not in order"),
        (lambda: resealed(levels=level_names(service=["by pigeon"])), "service has 1 that the tables do not"),
        (lambda: resealed(n_draws=4095), "shape"),
        (lambda: resealed(n_boxes=1), "boxes counts more than the fit has"),
        (lambda: resealed(scales_at_mode={}), "scales_at_mode"),
        (lambda: resealed(levels=level_names(genus=["Aglaonema"])), "beyond the levels|shape"),
        (lambda: "[]", "not JSON"),
        (lambda: "{", "not JSON"),
    ],
)
def test_manifest_that_does_not_fit_is_refused(manifest: Callable[[], str], words: str) -> None:
    """The manifest is made in the test, since that needs a fit."""
    with pytest.raises(ArtefactError, match=words):
        from_artefact(manifest(), fitted()[1], load_reference())


@pytest.mark.parametrize(
    ("name", "spoil", "words"),
    [
        ("alpha", lambda a: np.where(np.arange(len(a)) == 3, np.nan, a), "alpha is not all finite"),
        ("kappa", lambda a: -a, "kappa is not above 0"),
        ("lost", lambda a: a + 1, "lost is not a chance"),
        ("effect.genus", lambda a: a * 1e9, "effect.genus is not within 100"),
        ("counts.genus.boxes", lambda a: -a, "whole numbers"),
        ("pairs.genus", lambda a: a + 1000, "beyond the levels"),
        ("times.quantiles", lambda a: a[:, ::-1], "p50"),
        ("times.delay_share", lambda a: a + 1, "not a share"),
        ("times.delay_size", lambda a: -a, "size is not above 0"),
        ("times.again_share", lambda a: a + 1, "again_share is not a share"),
        ("variance.posterior", lambda a: a + np.triu(a, 1), "no covariance"),
        ("variance.prior", lambda a: 0 * a, "variance.prior is not above 0"),
        ("kappa", lambda a: a[:-1], "shape"),
    ],
)
def test_values_that_no_fit_writes_are_refused_though_the_hash_is_right(
    name: str, spoil: Callable[[Any], Any], words: str
) -> None:
    with np.load(io.BytesIO(fitted()[1])) as stored:
        array = stored[name]
    manifest, data = replaced(name, spoil(array))
    with pytest.raises(ArtefactError, match=words):
        from_artefact(manifest, data, load_reference())


class Trap:
    """Runs code when it is unpickled."""

    sprung = False

    @staticmethod
    def spring() -> float:
        Trap.sprung = True
        return 0.0

    def __reduce__(self) -> tuple[Any, ...]:
        return Trap.spring, ()


def test_a_pickle_is_refused_and_never_run() -> None:
    manifest, data = replaced("alpha", np.array([Trap()], dtype=object))
    with pytest.raises(ArtefactError, match="cannot be read"):
        from_artefact(manifest, data, load_reference())
    assert not Trap.sprung
    np.load(io.BytesIO(data), allow_pickle=True)["alpha"]
    assert Trap.sprung


def test_a_fit_that_is_not_finite_is_refused() -> None:
    model, _ = fitted()
    draws = model.draws
    alpha = draws.parameters.alpha.copy()
    alpha[7] = np.nan
    broken = PosteriorDraws(
        ParameterDraws(**{**_fields(draws.parameters), "alpha": alpha}),
        draws.late_loss,
        draws.reference,
        draws.key,
        draws.effects,
    )
    with pytest.raises(ArtefactError, match="not finite in alpha"):
        to_artefact(broken, model.counts, model.variance, model.times, FitRecord(FITTED_AT, "", 1, {}))


def _fields(parameters: ParameterDraws) -> dict[str, Any]:
    return {name: getattr(parameters, name) for name in ParameterDraws.__dataclass_fields__}


def test_falls_of_sellers_are_read_back_and_artefacts_from_before_them_too() -> None:
    model = fitted()[0]
    record = FitRecord(FITTED_AT, "", 1, {}, falls={"invented ferns": (0.25, -1.5)})
    told, data = to_artefact(model.draws, model.counts, model.variance, model.times, record)
    manifest = told.manifest.model_dump_json()
    assert from_artefact(manifest, data, load_reference()).falls == {"invented ferns": (0.25, -1.5)}
    with np.load(io.BytesIO(data)) as stored:
        before = {name: stored[name] for name in stored.files if not name.startswith("falls.")}
    buffer = io.BytesIO()
    np.savez(buffer, **before)
    assert from_artefact(resealed(buffer.getvalue()), buffer.getvalue(), load_reference()).falls == {}


def test_artefacts_from_before_the_length_of_delays_was_learned_have_the_tables() -> None:
    with np.load(io.BytesIO(fitted()[1])) as stored:
        before = {name: stored[name] for name in stored.files}
    for name in ("times.delay_size", "times.again_share"):
        assert len(before.pop(name))
    buffer = io.BytesIO()
    np.savez(buffer, **before)
    lanes = from_artefact(resealed(buffer.getvalue()), buffer.getvalue(), load_reference()).times.lanes
    known = fitted()[0].times.lanes
    assert [(lane.key, lane.quantiles) for lane in lanes] == [(lane.key, lane.quantiles) for lane in known]
    flights = load_reference().services["air_cargo"].again_share
    for lane in lanes:
        again = flights if lane.key.service == "air_cargo" else 0.0
        assert (lane.delay_size, lane.again_share) == (1.0, again)
