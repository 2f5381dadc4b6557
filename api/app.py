"""Builds the application: settings, engine, routers in the order of their addresses, error handlers, the frame."""

import logging
import re
from base64 import b64encode
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from functools import cache, partial
from hashlib import sha256
from pathlib import Path

import anyio.to_thread
import fastapi_offline
from fastapi import FastAPI, Request
from fastapi.middleware.cors import CORSMiddleware
from fastapi.openapi.docs import get_redoc_html, get_swagger_ui_html
from fastapi.responses import FileResponse, HTMLResponse, JSONResponse, RedirectResponse, Response
from sqlalchemy import Engine

from . import __version__
from .calendars.routes import router as calendars
from .collections.routes import router as collections
from .controllers.routes import router as controllers
from .date_sets.routes import router as date_sets
from .earnings.routes import router as earnings
from .health.routes import router as health
from .imports.routes import router as imports
from .inventory.routes import router as inventory
from .jobs.routes import router as jobs
from .ledger.routes import router as ledger
from .lifecycle.routes import router as lifecycle
from .monitoring.routes import router as monitoring
from .paper.routes import router as paper
from .pictures.routes import router as pictures
from .play.routes import router as play
from .pool_tables.routes import router as pool_tables
from .price_changes.routes import router as price_changes
from .pricing.effort import Stop
from .proposals.routes import router as proposals
from .publications.routes import router as publications
from .quotes.routes import router as quotes
from .readings.routes import router as readings
from .reports.routes import router as reports
from .schedules.routes import router as schedules
from .settlements.routes import router as settlements
from .store import clock
from .store.db import get_engine
from .store.read_cache import ReadCache
from .store.settings import Settings, get_settings
from .tariffs.routes import router as tariffs
from .tax_areas.routes import router as tax_areas
from .tokens.routes import router as tokens
from .trips.routes import router as trips
from .venues.routes import router as venues
from .web import error_answers, errors, openapi, probes
from .web.body import Bodies
from .web.body_after_refusal import BodyAfterRefusal
from .web.guide import router as guide
from .web.idempotency import purge
from .web.metrics import Metrics
from .web.middleware import Frame, cors
from .web.not_modified import if_modified
from .web.redaction import hide
from .web.sheet_links import SheetLinks
from .web.stopping import Stopping
from .web.transactions import Transactions
from .web.unknown_callers import UnknownCallers
from .webhooks.routes import events
from .webhooks.routes import router as webhooks
from .what_if.routes import router as what_if
from .worklist.routes import router as worklist

_log = logging.getLogger("uvicorn.error")
_PURGE_AFTER_S = 3600
_DOCS_ASSETS = Path(fastapi_offline.__file__).parent / "static"
_ASSETS = Path(__file__).parent / "web" / "assets"


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    """Give every connection a thread to work in, and some over for what needs no connection."""
    anyio.to_thread.current_default_thread_limiter().total_tokens = app.state.settings.threads + 8
    async with anyio.create_task_group() as tasks:
        tasks.start_soon(_purge_now_and_then, app)
        with app.state.stopping.on_signals():
            yield
        tasks.cancel_scope.cancel()
    app.state.kept.close()
    app.state.engine.dispose()


async def _purge_now_and_then(app: FastAPI) -> None:
    """Delete kept answers that have expired, once an hour."""

    def purge_now(stop: Stop) -> None:
        transactions: Transactions = app.state.transactions
        transactions.write(lambda session: purge(session, now=app.state.clock()), stop=stop)

    while not app.state.stopping.ends:
        await anyio.sleep(_PURGE_AFTER_S)
        try:
            with app.state.stopping.begun() as begun:
                await app.state.transactions.writers.run(partial(purge_now, begun.stop))
        except Exception:
            _log.exception("Expired answers were not purged; the next try comes in an hour")


def create_app(settings: Settings | None = None, engine: Engine | None = None) -> FastAPI:
    """Return the application, on the database of its settings or on an engine that is handed in."""
    app = FastAPI(
        title="Baizebook",
        version=__version__,
        openapi_url=None,
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
        lifespan=_lifespan,
        generate_unique_id_function=lambda route: route.name,
    )
    work_on(app, settings or get_settings(), engine or get_engine())
    error_answers.install(app)
    of_tables = (pool_tables, inventory, lifecycle, readings, health, controllers, jobs, worklist, trips)
    of_money = (settlements, collections, reports, earnings, play, price_changes, what_if, proposals, ledger)
    routers = (
        probes.router,
        quotes,  # most is asked of them, and each router before takes its time
        calendars,
        pictures,
        paper,  # before what has an id at the end of its address: an id has no .html
        venues,
        tax_areas,
        tariffs,
        schedules,
        publications,
        date_sets,
        *of_tables,
        *of_money,
        imports,
        monitoring,
        tokens,
        webhooks,
    )
    for router in routers:
        app.include_router(router)
    app.webhooks.include_router(events)
    app.state.methods = error_answers.methods_of(route for router in routers for route in router.routes)
    _serve_contract(app)
    _serve_docs(app)
    app.include_router(guide)
    app.openapi = lambda: _contract_of(app)  # type: ignore[method-assign]
    app.add_middleware(SheetLinks)
    app.add_middleware(Frame)
    app.add_middleware(BodyAfterRefusal)
    if app.state.settings.cors_origins is not None:
        app.add_middleware(CORSMiddleware, **cors(app.state.settings.cors_origins))
    return app


def work_on(app: FastAPI, settings: Settings, engine: Engine) -> None:
    """Put an application on a database, with nothing in mind of any other."""
    app.state.settings = settings
    if settings.owner_token is not None:
        hide(settings.owner_token)
    app.state.engine = engine
    if hasattr(app.state, "kept"):
        app.state.kept.close()
    app.state.kept = ReadCache(engine)
    app.state.transactions = Transactions(settings, engine, kept=app.state.kept)
    app.state.clock = clock.now
    app.state.bodies = Bodies()
    app.state.stopping = Stopping()
    app.state.metrics = Metrics()
    app.state.unknown_callers = UnknownCallers()


def _contract_of(app: FastAPI) -> dict[str, object]:
    if app.openapi_schema is None:
        app.openapi_schema = openapi.build_contract(app)
    return app.openapi_schema


def _serve_contract(app: FastAPI) -> None:
    """Serve the contract, which is made and written once, in a thread: anybody may ask, and must not make others wait."""
    kept: list[Response] = []
    made_once = anyio.Lock()

    @app.get("/openapi.json", include_in_schema=False)
    async def contract(request: Request) -> Response:
        async with made_once:
            if not kept:
                kept.append(await anyio.to_thread.run_sync(lambda: JSONResponse(app.openapi())))
        return if_modified(request, Response(kept[0].body, media_type=kept[0].media_type))


def _serve_docs(app: FastAPI) -> None:
    """Serve the two documentation pages and what they load from this machine: no network is needed to read them."""
    files = {file.name: file for folder in (_DOCS_ASSETS, _ASSETS) for file in folder.iterdir() if file.is_file()}

    @app.get("/", include_in_schema=False)
    def start() -> RedirectResponse:
        return RedirectResponse("/docs")

    @app.get("/docs", include_in_schema=False)
    def docs() -> HTMLResponse:
        page = get_swagger_ui_html(
            openapi_url="/openapi.json",
            title="Baizebook: try it",
            swagger_js_url="/assets/swagger-ui-bundle.js",
            swagger_css_url="/assets/swagger-ui.css",
            swagger_favicon_url="/assets/favicon.svg",
        )
        return _guarded(page)

    @app.get("/redoc", include_in_schema=False)
    def redoc() -> HTMLResponse:
        page = get_redoc_html(
            openapi_url="/openapi.json",
            title="Baizebook: the contract",
            redoc_js_url="/assets/redoc.standalone.js",
            redoc_favicon_url="/assets/favicon.svg",
            with_google_fonts=False,
        )
        return _guarded(page)

    @app.get("/favicon.ico", include_in_schema=False)
    def favicon() -> FileResponse:
        return FileResponse(files["favicon.ico"], media_type="image/x-icon")

    @app.get("/assets/{name}", include_in_schema=False)
    def assets(name: str) -> Response:
        if name not in files:
            raise errors.not_found("file")
        if name == "redoc.standalone.js":
            return Response(_without_network(files[name]), media_type="text/javascript")
        return FileResponse(files[name])


@cache
def _without_network(script: Path) -> bytes:
    """Return a script without the one address that it would fetch from elsewhere, its maker's picture."""
    return re.sub(rb"https://[\w./-]+\.svg", b"data:,", script.read_bytes())


def _guarded(page: HTMLResponse) -> HTMLResponse:
    """Let a page run its own scripts only, talk to this service only, and stand in no frame."""
    scripts = re.findall(rb"<script>(.*?)</script>", page.body, re.DOTALL)
    hashes = "".join(f" 'sha256-{b64encode(sha256(script).digest()).decode()}'" for script in scripts)
    page.headers["Content-Security-Policy"] = (
        f"default-src 'none'; script-src 'self'{hashes}; style-src 'self' 'unsafe-inline'; img-src 'self' data:; "
        "font-src 'self'; connect-src 'self'; worker-src blob:; base-uri 'none'; form-action 'none'; "
        "frame-ancestors 'none'"
    )
    page.headers["X-Frame-Options"] = "DENY"
    page.headers["Referrer-Policy"] = "no-referrer"
    return page
