"""Routes that only ask: a question about plants or batches, or what the service knows. Nothing is recorded."""

from collections.abc import Callable, Sequence
from typing import TypeVar

from anyio import to_thread
from fastapi import APIRouter, Request, Response
from pydantic import BaseModel

from app.batch import answer_forecast, stored_seller, with_seller
from app.comparing import answer_compare, answer_hold, answer_order_size, answer_wish_list, answer_worth_knowing
from app.doubts import doubtful_records
from app.http import csv_refusal, declared, exchange, in_worker, is_known, pools_of, prefers_csv
from app.learned import answer_model, written_names
from app.problems import Problem
from app.risk import KnownAnswers, answer_one, answer_risk
from app.schemas import (
    Assumed,
    Batch,
    CompareRequest,
    GeneraAnswer,
    HoldRequest,
    ModelAnswer,
    OrderSizeRequest,
    PackingsAnswer,
    PlacesAnswer,
    RequestBody,
    RiskRequest,
    ServicesAnswer,
    WishListRequest,
    WorthKnowingRequest,
    read_risk_parameters,
    wants_csv,
)
from app.serving import Engine, held_version
from app.serving import reference_lists as reference

# Bodies of one query with all its fields, or of so few short ones that they take a quarter of a second at most.
QUICK_BYTES = 512
NOT_MODIFIED = 304
VARY = {"Vary": "Accept"}

router = APIRouter()
Batched = TypeVar("Batched", bound=Batch)


def _with_seller_record(
    request: Request, service: Callable[[Batched, Engine, Sequence[Assumed]], BaseModel]
) -> Callable[[Batched, Engine], BaseModel]:
    """Return the service of a batch, asked with what the ledger records of its seller."""
    database = request.app.state.database

    def answer(asked: Batched, engine: Engine) -> BaseModel:
        filled = with_seller(asked, stored_seller(database, asked.seller))
        return service(filled.request, engine, filled.from_record)

    return answer


async def _listed(request: Request, work: Callable[[Engine], BaseModel]) -> Response:
    """Answer with rows of the tables."""
    return await in_worker(request, pools_of(request).reference, work)


@router.post("/v1/risk", **declared("risk"))
async def risk(request: Request) -> Response:
    """The chances of up to 10,000 lines of plants, in the order asked."""
    return await exchange(request, RequestBody(RiskRequest), answer_risk, quick_bytes=QUICK_BYTES)


@router.get("/v1/risk", **declared("risk_of_one"))
async def risk_of_one(request: Request) -> Response:
    """The chances of one line of plants, by parameters of the address: as the POST answers it, or as a row of CSV.

    A spreadsheet's cell can ask so, with ``format=csv``. The answer has an ``ETag`` that changes with the model; asked
    with it in ``If-None-Match`` the same is answered 304.
    """
    accepts_csv = prefers_csv(", ".join(request.headers.getlist("accept")))
    engine: Engine = request.app.state.active.engine
    known: KnownAnswers = request.app.state.known_risk
    asked = (engine.model_version, request.scope["query_string"], accepts_csv)
    answer = known.get(asked)
    if answer is None:
        pairs = request.query_params.multi_items()
        try:
            parameters = read_risk_parameters(pairs, accepts_csv=accepts_csv)
            answer = await pools_of(request).quick.run(request, lambda: answer_one(parameters, engine))
        except Problem as problem:
            if wants_csv(pairs, accepts_csv):
                return csv_refusal(problem, VARY)
            raise
        known.keep(asked, answer)
    headers = {"ETag": answer.etag, "Cache-Control": "private, no-cache"} | VARY
    if is_known(request.headers, answer.etag):
        return Response(status_code=NOT_MODIFIED, headers=headers)
    return Response(answer.content, headers=headers, media_type=answer.media_type)


@router.post("/v1/compare", **declared("compare"))
async def compare(request: Request) -> Response:
    """Courier or air cargo: chances and money of each route for a batch, and a recommendation."""
    return await exchange(request, RequestBody(CompareRequest), _with_seller_record(request, answer_compare))


@router.post("/v1/hold", **declared("hold"))
async def hold(request: Request) -> Response:
    """Ship now or wait: every allowed ship date for every route, and a recommendation."""
    return await exchange(request, RequestBody(HoldRequest), _with_seller_record(request, answer_hold))


@router.post("/v1/order-size", **declared("order_size"))
async def order_size(request: Request) -> Response:
    """How many to order so that enough arrive healthy, and what that costs."""
    return await exchange(request, RequestBody(OrderSizeRequest), _with_seller_record(request, answer_order_size))


@router.post("/v1/wish-list", **declared("wish_list"))
async def wish_list(request: Request) -> Response:
    """What to order: what each line brings on each route, which lines lose money, and how many reach what is wanted."""
    return await exchange(request, RequestBody(WishListRequest), _with_seller_record(request, answer_wish_list))


@router.post("/v1/worth-knowing", **declared("worth_knowing"))
async def worth_knowing(request: Request) -> Response:
    """What moves the answer most, and what it would be worth to know it before deciding."""
    return await exchange(request, RequestBody(WorthKnowingRequest), _with_seller_record(request, answer_worth_knowing))


@router.get("/v1/genera", **declared("genera"))
async def genera(request: Request) -> Response:
    """Genera of the trade: growth group, time ratio, chilling threshold."""
    return await _listed(request, lambda engine: GeneraAnswer(items=reference.genera(engine)))


@router.get("/v1/packings", **declared("packings"))
async def packings(request: Request) -> Response:
    """Containers and root treatments."""
    return await _listed(request, lambda engine: PackingsAnswer(items=reference.packings(engine)))


@router.get("/v1/places", **declared("places"))
async def places(request: Request) -> Response:
    """Gateways with their time zone and monthly normals."""
    return await _listed(request, lambda engine: PlacesAnswer(items=reference.places(engine)))


@router.get("/v1/services", **declared("services"))
async def services(request: Request) -> Response:
    """Services with their transit times, delays and legs."""
    return await _listed(request, lambda engine: ServicesAnswer(items=reference.services(engine)))


@router.get("/v1/model", **declared("model"))
async def model(request: Request) -> Response:
    """The active model: rules of thumb and how each is met, effects as time ratios, diagnostics."""
    state = request.app.state
    notice = state.active.notice

    def work(engine: Engine) -> ModelAnswer:
        database, reference = state.database, engine.reference
        names, held = written_names(database, engine), held_version(database, reference)
        return answer_model(engine, notice, doubtful_records(database), names, held)

    return await in_worker(request, pools_of(request).reading, work)


@router.get("/v1/track-record", **declared("track_record"))
async def track_record(request: Request) -> Response:
    """Forecasts stored before arrival against what was found: scores, reliability, coverage, and a verdict."""
    return await in_worker(request, pools_of(request).computing, request.app.state.track_record.answer)


@router.get("/v1/forecast/{place}", include_in_schema=False)
async def forecast(request: Request, place: str) -> Response:
    """The forecast of a place from the weather service that is set, in the form that requests take."""
    state = request.app.state
    reference = state.active.engine.reference
    # In no pool: waiting for another server costs no processor and must hold up no answer.
    answer = await to_thread.run_sync(answer_forecast, place, state.settings.weather_service, reference)
    return Response(answer.model_dump_json(), media_type="application/json")
