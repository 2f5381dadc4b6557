"""All rows in one place, for the migrations and for tests that look at every table of the database."""

from sqlmodel import SQLModel

from api.access import models as access
from api.cash import models as cash
from api.health import models as health
from api.ledger import models as ledger
from api.readings import models as readings
from api.schedules import models as schedules
from api.tariffs import models as tariffs
from api.venues import models as venues
from api.worklist import models as worklist

MODULES = (access, venues, tariffs, schedules, readings, health, ledger, cash, worklist)
metadata = SQLModel.metadata
