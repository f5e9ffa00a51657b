"""Sellers of the ledger, each with what the active model learned of it."""

from app.engine import Engine
from app.ledger import seller_key
from app.problems import NotFound
from app.schemas.sellers import SellerAnswer, SellersAnswer
from app.services.effects import seller_effect
from app.store.database import Database
from app.store.seller_records import SellerRecord, list_sellers, read_seller


def answer_sellers(database: Database, engine: Engine) -> SellersAnswer:
    """Return all sellers, by name.

    Raises
    ------
    StoreUnavailable
        If the database cannot be used.
    """
    records: list[SellerRecord] = []
    if not database.absent:
        with database.reading() as connection:
            records = list_sellers(connection)
    return SellersAnswer(model_version=engine.model_version, items=[_answer(record, engine) for record in records])


def answer_seller(database: Database, engine: Engine, name: str) -> SellerAnswer:
    """Return the seller of a name in any of its spellings.

    Raises
    ------
    NotFound
        If the ledger has no such seller.
    StoreUnavailable
        If the database cannot be used.
    """
    record = None
    if not database.absent:
        with database.reading() as connection:
            record = read_seller(connection, seller_key(name))
    if record is None:
        raise NotFound("There is no such seller.")
    return _answer(record, engine)


def _answer(record: SellerRecord, engine: Engine) -> SellerAnswer:
    effect = seller_effect(engine, record.key, record.name)
    return SellerAnswer(
        name=record.name,
        kind=record.kind,
        country=record.country,
        notes=record.notes,
        time_ratio=effect.time_ratio,
        boxes=effect.evidence.boxes,
        plants=effect.evidence.plants,
        text=effect.text,
    )
