"""One transaction: every repository over one connection."""

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
        self.connection, self.version = pen.connection, version
        self.history = HistoryRepository(pen)
        self.jobs = JobRepository(pen, self.history)
        self.whole = WholeShop(pen, self.jobs)
        self.held = HeldRepairs(pen, self.jobs, self.history)
        self.settings = SettingRepository(pen)
        self.earlier = EarlierStates(pen)
        self.sent = SentForms(pen)
        self.people = People(pen, self.history)
        self.sessions = Sessions(pen)
        self.links = SignInLinks(pen)
        self.failed = FailedSignIns(pen)
        self.tokens = Tokens(pen, self.history)
        self.settled = SettledPieces(pen)
        self.unread = UnreadWords(pen)
        self.photos = PhotoRepository(pen, self.history)
        self.case_lists = CaseLists(pen)
        self.searches = SearchRepository(pen)
        self.terms = ShopTerms(pen, self.history)
        self.weeks, self.week_records = WeekRows(pen), WeekRecords(pen)
        self.reviews = Reviews(pen)
        self.suppliers = Suppliers(pen)
        self.answers = ShownAnswers(pen)
        self.decisions = Decisions(pen, self.history)
        self.notes = ShopNotes(pen, self.history)

    def state(self) -> str:
        """Return what names the state of the closed jobs that this unit of work sees."""
        return state(self.connection)
