"""One transaction: every repository over one connection."""

from functools import cached_property

from kb.store.answers import ShownAnswers
from kb.store.case_lists import CaseLists
from kb.store.data_version import Version
from kb.store.decisions import Decisions
from kb.store.held import HeldRepairs
from kb.store.journal import HistoryRepository, Pen, SettingRepository, state
from kb.store.notes import ShopNotes
from kb.store.people import People
from kb.store.photos import PhotoRepository
from kb.store.repository import JobRepository
from kb.store.reviews import Reviews
from kb.store.searches import SearchRepository
from kb.store.settled import SettledPieces
from kb.store.shop_terms import ShopTerms
from kb.store.sign_ins import FailedSignIns, Sessions, SignInLinks
from kb.store.suppliers import Suppliers
from kb.store.tokens import Tokens
from kb.store.unread import UnreadWords
from kb.store.week_records import WeekRecords
from kb.store.week_rows import WeekRows
from kb.store.whole_shop import WholeShop
from kb.store.writes import EarlierStates, SentForms


class UnitOfWork:
    """One transaction: the jobs, their history and all that lies beside them.

    ``version`` is that of the database just before it was begun, None where none is known.
    """

    def __init__(self, pen: Pen, version: Version | None = None) -> None:
        self.pen, self.version = pen, version
        self.connection = pen.connection
        self.history = HistoryRepository(pen)
        self.jobs = JobRepository(pen, self.history)

    # Of these a page asks one or two: each is made when it is first asked for.
    whole = cached_property(lambda unit: WholeShop(unit.pen, unit.jobs))
    held = cached_property(lambda unit: HeldRepairs(unit.pen, unit.jobs, unit.history))
    settings = cached_property(lambda unit: SettingRepository(unit.pen))
    earlier = cached_property(lambda unit: EarlierStates(unit.pen))
    sent = cached_property(lambda unit: SentForms(unit.pen))
    people = cached_property(lambda unit: People(unit.pen, unit.history))
    sessions = cached_property(lambda unit: Sessions(unit.pen))
    links = cached_property(lambda unit: SignInLinks(unit.pen))
    failed = cached_property(lambda unit: FailedSignIns(unit.pen))
    tokens = cached_property(lambda unit: Tokens(unit.pen, unit.history))
    settled = cached_property(lambda unit: SettledPieces(unit.pen))
    unread = cached_property(lambda unit: UnreadWords(unit.pen))
    photos = cached_property(lambda unit: PhotoRepository(unit.pen, unit.history))
    case_lists = cached_property(lambda unit: CaseLists(unit.pen))
    searches = cached_property(lambda unit: SearchRepository(unit.pen))
    terms = cached_property(lambda unit: ShopTerms(unit.pen, unit.history))
    weeks = cached_property(lambda unit: WeekRows(unit.pen))
    week_records = cached_property(lambda unit: WeekRecords(unit.pen))
    reviews = cached_property(lambda unit: Reviews(unit.pen))
    suppliers = cached_property(lambda unit: Suppliers(unit.pen))
    answers = cached_property(lambda unit: ShownAnswers(unit.pen))
    decisions = cached_property(lambda unit: Decisions(unit.pen, unit.history))
    notes = cached_property(lambda unit: ShopNotes(unit.pen, unit.history))

    def state(self) -> str:
        """Return what names the state of the closed jobs that this unit of work sees."""
        return state(self.connection)
