"""Sellers of the ledger, each with what its boxes showed and what the active model learned of it."""

from app.batch import answers_of, packing_of, stored_seller
from app.learned import seller_effect
from app.problems import NotFound
from app.schemas import SellerAnswer, SellersAnswer
from app.sellers.figures import LedgerFigures, read_figures
from app.sellers.questions import open_questions
from app.sellers.trend import seller_trend
from app.serving import Engine
from app.store import Database, SellerRecord, list_sellers


def answer_sellers(database: Database, engine: Engine) -> SellersAnswer:
    """Return all sellers, by name.

    Raises
    ------
    StoreUnavailable
        If the database cannot be used.
    """
    items: list[SellerAnswer] = []
    if not database.absent:
        with database.reading() as connection:
            records, figures = list_sellers(connection), read_figures(connection, engine.reference)
        items = [_answer(record, figures, engine) for record in records]
    return SellersAnswer(model_version=engine.model_version, items=items)


def answer_seller(database: Database, engine: Engine, name: str) -> SellerAnswer:
    """Return the seller of a name in any of its spellings.

    Raises
    ------
    NotFound
        If the ledger has no such seller.
    StoreUnavailable
        If the database cannot be used.
    """
    record = stored_seller(database, name)
    if record is None:
        raise NotFound("There is no such seller.")
    with database.reading() as connection:
        figures = read_figures(connection, engine.reference)
    return _answer(record, figures, engine)


def _answer(record: SellerRecord, figures: LedgerFigures, engine: Engine) -> SellerAnswer:
    details, key = record.details, record.key
    effect = seller_effect(engine, key, details.name)
    own = figures.of(key)
    return SellerAnswer(
        name=details.name,
        kind=details.kind,
        country=details.country,
        notes=details.notes,
        recourse=details.recourse,
        packing=packing_of(details),
        answers=answers_of(details),
        unknown=open_questions(details),
        etag=record.etag,
        time_ratio=effect.time_ratio,
        boxes=effect.evidence.boxes,
        plants=effect.evidence.plants,
        text=effect.text,
        recorded_boxes=own.boxes,
        first_ship_date=own.first_ship_date,
        last_ship_date=own.last_ship_date,
        late=figures.late(key),
        damaged=figures.damaged(key),
        dead=figures.dead(key),
        claims=figures.claims(key),
        trend=seller_trend(engine, key, details.name),
    )
