"""The recipes for LibreOffice in the guide, run by LibreOffice itself on the demo, in an English and a German locale.

LibreOffice reads a web address in a cell only where its user trusts the folder, so each run has a profile of its own, and a
macro in it loads the sheet, lets its links update, calculates, and stores the cells as CSV: one start for each locale.
"""

import csv
import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

import pytest
from baizebook.app import create_app
from baizebook.store.db import make_engine
from baizebook.web.examples import DEMO_IDS
from baizebook.web.guide import FOLDER
from fastapi.testclient import TestClient

from tests.conftest import NOON
from tests.databases import OWNER_TOKEN, settings_for
from tests.demo.loaded_demo import loaded_demo
from tests.serving import answering

SOFFICE = shutil.which("soffice") or shutil.which("libreoffice")
PAGE = (FOLDER / "spreadsheet.md").read_text()
FORMULAS = re.findall(r"^```calc\n(.*?)^```", PAGE, re.M | re.S)[0].splitlines()
FINISH_WITHIN_S = 90

_DTD = '<?xml version="1.0" encoding="UTF-8"?>\n<!DOCTYPE {0} PUBLIC "-//OpenOffice.org//DTD OfficeDocument 1.0//EN" "{1}">\n'
_LIBRARY = 'xmlns:library="http://openoffice.org/2000/library" library:name="Standard"'
_SETTINGS = {
    ("Setup/Office", "ooSetupInstCompleted"): "true",  # else it puts its own macros in the place of ours
    ("Setup/L10N", "ooSetupSystemLocale"): "{locale}",
    ("Office.Calc/Content/Update", "Link"): "0",  # always
    ("Office.Common/Security/Scripting", "SecureURL"): "<it>{folder}</it>",
}
_MACRO = """Sub Main
  Dim how(1) As New com.sun.star.beans.PropertyValue
  how(0).Name = "Hidden"
  how(0).Value = True
  how(1).Name = "UpdateDocMode"
  how(1).Value = com.sun.star.document.UpdateDocMode.FULL_UPDATE
  sheet = StarDesktop.loadComponentFromURL("{folder}/sheet.fods", "_blank", 0, how())
  links = createUnoService("com.sun.star.frame.DispatchHelper")
  links.executeDispatch(sheet.CurrentController.Frame, ".uno:UpdateTableLinks", "", 0, Array())
  sheet.calculateAll()
  Dim stored(0) As New com.sun.star.beans.PropertyValue
  stored(0).Name = "FilterName"
  stored(0).Value = "Text - txt - csv (StarCalc)"
  sheet.storeToURL("{folder}/unfinished.csv", stored())
  Name "{folder}/unfinished.csv" As "{folder}/cells.csv"
End Sub
"""
_SHEET = """<?xml version="1.0" encoding="UTF-8"?>
<office:document xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0"
 xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0"
 xmlns:of="urn:oasis:names:tc:opendocument:xmlns:of:1.2" office:version="1.3"
 office:mimetype="application/vnd.oasis.opendocument.spreadsheet"><office:body><office:spreadsheet>
<table:table table:name="Prices">{rows}</table:table></office:spreadsheet></office:body></office:document>"""


@pytest.fixture(scope="module")
def link() -> Iterator[str]:
    """A sheet link of the demo, served at noon."""
    with loaded_demo() as url:
        settings = settings_for(url)
        engine = make_engine(settings)
        app = create_app(settings, engine)
        app.state.clock = lambda: NOON
        client = TestClient(app, headers={"Authorization": f"Bearer {OWNER_TOKEN}"})
        made = client.post("/v1/sheet-links", json={"name": "Sheet"}).json()["url"]
        with answering(app) as address:
            yield made.replace("http://testserver", address)
        engine.dispose()


def profile(folder: Path, locale: str) -> None:
    """Write a user's profile of LibreOffice: its locale, the folder that it trusts, and the macro."""
    items = "".join(
        f'<item oor:path="/org.openoffice.{path}"><prop oor:name="{name}" oor:op="fuse">'
        f"<value>{value.format(locale=locale, folder=folder.as_uri())}</value></prop></item>"
        for (path, name), value in _SETTINGS.items()
    )
    spaces = 'xmlns:oor="http://openoffice.org/2001/registry" xmlns:xs="http://www.w3.org/2001/XMLSchema"'
    basic = folder / "user" / "basic"
    files = {
        "../registrymodifications.xcu": f'<?xml version="1.0" encoding="UTF-8"?>\n<oor:items {spaces}>{items}</oor:items>',
        "script.xlc": _DTD.format("library:libraries", "libraries.dtd")
        + f'<library:libraries xmlns:library="http://openoffice.org/2000/library"><library:library {_LIBRARY} '
        'library:link="false"/></library:libraries>',
        "Standard/script.xlb": _DTD.format("library:library", "library.dtd")
        + f'<library:library {_LIBRARY} library:readonly="false" library:passwordprotected="false">'
        '<library:element library:name="Cells"/></library:library>',
        "Standard/Cells.xba": _DTD.format("script:module", "module.dtd")
        + '<script:module xmlns:script="http://openoffice.org/2000/script" script:name="Cells" '
        f'script:language="StarBasic">{escape(_MACRO.format(folder=folder.as_uri()))}</script:module>',
    }
    (basic / "Standard").mkdir(parents=True)
    for name, text in files.items():
        (basic / name).write_text(text)


def sheet(link: str) -> str:
    """Return a sheet as somebody makes it by the guide: the link in A1, a venue in A2, then its formulas, then a half."""

    def formula(typed: str) -> str:
        stored = f"of:{typed}".replace("WEBSERVICE(", "COM.MICROSOFT.WEBSERVICE(")
        stored = re.sub(r"\$A\$([12])", r"[.$A$\1]", stored)
        return f"<table:table-cell table:formula={quoteattr(stored)}/>"

    def words(text: str) -> str:
        return f'<table:table-cell office:value-type="string"><text:p>{escape(text)}</text:p></table:table-cell>'

    cells = [words(link), words(str(DEMO_IDS["venue lantern"])), *map(formula, [*FORMULAS, "=1/2"])]
    return _SHEET.format(rows="".join(f"<table:table-row>{cell}</table:table-row>" for cell in cells))


@pytest.mark.skipif(SOFFICE is None, reason="LibreOffice is NOT INSTALLED: no recipe was run")
@pytest.mark.parametrize(("locale", "decimal"), [("en-US", "."), ("de-DE", ",")])
def test_the_recipes_show_the_demos_answers_in_the_cells_of_libreoffice(
    link: str, tmp_path: Path, locale: str, decimal: str
) -> None:
    profile(tmp_path, locale)
    (tmp_path / "sheet.fods").write_text(sheet(link))
    options = (f"-env:UserInstallation={tmp_path.as_uri()}", "--headless", "--norestore", "--nologo")
    # Its build without windows ends with a crash after the macro, so what counts are the cells that it stored.
    done = subprocess.run(
        [str(SOFFICE), *options, "macro:///Standard.Cells.Main"],
        capture_output=True,
        text=True,
        timeout=FINISH_WITHIN_S,
        check=False,
    )
    stored = tmp_path / "cells.csv"
    assert stored.is_file(), done.stderr[-2000:]
    cells = [row[0] for row in csv.reader(stored.read_text().splitlines())]
    assert cells[2:] == ["12", f"1{decimal}17", "closed, opens Thu 06:00", f"0{decimal}5"]


def test_the_recipes_ask_what_the_page_asks() -> None:
    addresses = re.findall(r"^GET /s/\S+?(/quotes\?\S+)$", PAGE, re.M)
    assert len(FORMULAS) == len(addresses) == 3
    for formula, address in zip(FORMULAS, [addresses[0], addresses[2], addresses[1]], strict=True):
        asked = formula.replace('"&$A$2&"', str(DEMO_IDS["venue lantern"]))
        assert address in asked
