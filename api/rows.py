"""All rows in one place, for the migrations and for tests that look at every table of the database."""

from sqlmodel import SQLModel

from api.access import models as access
from api.ledger import models as ledger
from api.schedules import models as schedules
from api.tariffs import models as tariffs
from api.venues import models as venues

MODULES = (access, venues, tariffs, schedules, ledger)
metadata = SQLModel.metadata
