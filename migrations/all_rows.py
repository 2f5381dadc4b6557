"""All rows in one place: their tables and foreign keys know each other once this is imported."""

from baizebook.collections import rows as collections
from baizebook.controllers import rows as controllers
from baizebook.date_sets import rows as date_sets
from baizebook.earnings import rows as earnings
from baizebook.health import rows as health
from baizebook.imports import rows as imports
from baizebook.jobs import rows as jobs
from baizebook.ledger import rows as ledger
from baizebook.lifecycle import rows as lifecycle
from baizebook.pool_tables import rows as pool_tables
from baizebook.readings import rows as readings
from baizebook.schedules import rows as schedules
from baizebook.settlements import rows as settlements
from baizebook.store import changes, feeds, sequence
from baizebook.tariffs import rows as tariffs
from baizebook.tax_areas import rows as tax_areas
from baizebook.trips import rows as trips
from baizebook.venues import rows as venues
from baizebook.web import rows as web
from baizebook.webhooks import rows as webhooks
from baizebook.worklist import rows as worklist
from sqlmodel import SQLModel

MODULES = (
    changes,
    feeds,
    sequence,
    web,
    tax_areas,
    venues,
    webhooks,
    ledger,
    pool_tables,
    tariffs,
    schedules,
    date_sets,
    readings,
    controllers,
    settlements,
    collections,
    jobs,
    health,
    earnings,
    lifecycle,
    imports,
    worklist,
    trips,
)
metadata = SQLModel.metadata
