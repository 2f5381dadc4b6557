"""HTTP for whoever watches the service: Prometheus asks with an owner's token, as bearer or as the password of Basic."""

from fastapi import APIRouter, Request, Response

from ..web.auth import OwnerDep
from ..web.dependencies import NowDep, SessionDep
from ..web.metrics import Metrics
from ..web.operation import Route
from .exposition import CONTENT_TYPE, exposed
from .queries import read_watched

router = APIRouter(tags=["service"], route_class=Route)


@router.get("/metrics", include_in_schema=False)
def get_metrics(request: Request, session: SessionDep, principal: OwnerDep, now: NowDep) -> Response:
    """Return the figures of this process and of the route in the text format of Prometheus."""
    metrics: Metrics = request.app.state.metrics
    return Response(exposed(read_watched(session), metrics.registry, now=now), media_type=CONTENT_TYPE)
