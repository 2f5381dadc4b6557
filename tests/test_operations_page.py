"""What the guide shows to whoever runs the service: units, cron lines and containers, checked by the programs themselves."""

import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import yaml
from baizebook.ops.cli import COMMANDS
from baizebook.store.settings import Settings
from baizebook.web.guide import FOLDER, PAGES

ROOT = Path(__file__).parent.parent
PAGE = (FOLDER / "operations.md").read_text()
PASSWORDS = {"DATABASE_PASSWORD": "0123abcd", "SERVICE_PASSWORD": "4567cdef"}
NGINX = shutil.which("nginx", path="/usr/sbin:/usr/bin:/usr/local/bin")


def blocks(kind: str) -> list[str]:
    return re.findall(rf"^```{kind}\n(.*?)^```", PAGE, re.M | re.S)


def settle(environment: dict[str, str]) -> Settings:
    """Return the settings that an environment makes; every variable of ours must be one of them."""
    own = {name.removeprefix("BAIZEBOOK_").lower(): value for name, value in environment.items() if "BAIZEBOOK" in name}
    assert own.keys() <= Settings.model_fields.keys(), environment
    return Settings(**own)  # type: ignore[arg-type]


def filled_in(text: str) -> str:
    """Return a text of a compose file with its variables filled in, as Compose does."""
    text = re.sub(r"\$\{(\w+)(?::[?-]([^}]*))?\}", lambda found: PASSWORDS.get(found[1], found[2] or ""), text)
    return text.replace("$$", "$")


@pytest.fixture(scope="module")
def compose() -> dict[str, Any]:
    file = (ROOT / ".ci" / "compose.yaml").read_text()
    return yaml.safe_load(filled_in(file))  # type: ignore[no-any-return]


def test_the_units_are_good_by_systemd_itself(tmp_path: Path) -> None:
    units = blocks("ini")
    assert len(units) >= 1
    for place, unit in enumerate(units):
        command = re.search(r"^ExecStart=(\S+) (\S+)", unit, re.M)
        assert command is not None
        assert command[2] in COMMANDS
        if shutil.which("systemd-analyze") is None:
            pytest.skip("systemd IS NOT INSTALLED: no unit was verified")
        file = tmp_path / f"baizebook{place}.service"
        file.write_text(unit.replace(command[1], sys.executable))
        done = subprocess.run(
            ["systemd-analyze", "verify", "--man=no", str(file)],
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )
        about_ours = [line for line in done.stderr.splitlines() if file.name in line]
        assert about_ours == []


def test_the_environment_and_the_cron_lines_are_understood() -> None:
    (environment,) = blocks("env")
    assert settle(dict(line.split("=", 1) for line in environment.splitlines())).log == "json"
    lines = "".join(blocks("cron")).splitlines()
    asked = [line for line in lines if re.match(r"[*\d]", line)]
    settings = dict(line.split("=", 1) for line in lines if re.match(r"[A-Z_]+=", line))
    assert settle(settings).database_url == "sqlite:////var/lib/baizebook/baizebook.db"
    assert {"assess", "backup"} <= {line.split()[7] for line in asked if line.split()[6].endswith("baizebook")}
    for line in asked:
        minute, hour, *_, user, program, command = line.split()[:8]
        assert minute == "*" or (int(minute) < 60 and int(hour) < 24)
        assert user == "baizebook"
        assert command in COMMANDS or program == "find"
        assert "%" not in line.replace("\\%", ""), "cron ends a command at a percent sign"


def test_every_command_of_the_guide_exists() -> None:
    for page in PAGES:
        for block in re.findall(r"^```(?:sh|powershell)\n(.*?)^```", (FOLDER / f"{page}.md").read_text(), re.M | re.S):
            for word, second in re.findall(r"(?:^|(?<!-u)[\s/\\])baizebook(?:\.exe)? ([a-z]+) ?([a-z]*)", block):
                assert word in COMMANDS or f"{word} {second}" in COMMANDS, (page, word)


def test_the_containers_know_their_settings_commands_files_and_each_other(compose: dict[str, Any]) -> None:
    services, built = compose["services"], set()
    for name, service in services.items():
        for variable, value in service.get("environment", {}).items():
            assert isinstance(value, str), f"{name}: {variable} would be no text"
        if "build" in service:
            built.add(name)
            assert (ROOT / ".ci" / service["build"]["context"] / service["build"]["dockerfile"]).is_file()
            settings = settle(service["environment"])
            assert settings.database_url.endswith("@database/baizebook")
        else:
            assert re.fullmatch(r"[a-z]+:[0-9.]+", service["image"]), "a named version"
        for other in service.get("depends_on", {}):
            assert other in services
        for config in service.get("configs", []):
            assert config["source"] in compose["configs"]
        for volume in service.get("volumes", []):
            assert volume.split(":")[0] in compose["volumes"]
        text = service.get("command", [])
        for word in re.findall(r"baizebook ([a-z]+)", " ".join(text)):
            assert word in COMMANDS, word
            assert "healthcheck" in service or word == "migrate", "the image's own asks the port that only serve opens"
    assert built == {"migrate", "service", "deliver", "daily"}
    assert services["migrate"]["command"] == ["baizebook", "migrate"]
    assert "/postgresql" in services["database"]["volumes"][0]
    assert services["proxy"]["ports"][0].startswith("127.0.0.1:"), "no other machine reaches it without TLS"


def test_the_container_of_the_image_is_as_the_compose_file_expects(compose: dict[str, Any]) -> None:
    image = (ROOT / "Dockerfile").read_text()
    assert "EXPOSE 8000" in image
    assert "http://service:8000" in compose["configs"]["proxy"]["content"]
    assert "HEALTHCHECK" in image, "the proxy waits for it"
    assert "/data/backups" in image
    assert shlex.split(image.split("\nCMD ")[1].splitlines()[0].strip("[]").replace(",", " "))[:2] == [
        "baizebook",
        "serve",
    ]


def test_the_role_and_the_proxy_are_those_of_the_guide(compose: dict[str, Any], tmp_path: Path) -> None:
    (sql,) = blocks("sql")
    wanted = [line for line in sql.splitlines() if "IN SCHEMA public TO" not in line or "DEFAULT" in line]
    roles = compose["configs"]["roles"]["content"].strip().splitlines()
    assert roles[1:] == wanted[1:]
    assert roles[0] == wanted[0].replace("…", PASSWORDS["SERVICE_PASSWORD"])
    proxy = compose["configs"]["proxy"]["content"]
    (shown,) = blocks("nginx")
    for name in re.findall(
        r"^\s*(client_\w+|\w+_timeout|lingering_time|proxy_request_buffering|proxy_read_timeout) ", shown, re.M
    ):
        pattern = rf"^\s*{name} ([^;]+);"
        assert re.search(pattern, proxy, re.M)[1] == re.search(pattern, shown, re.M)[1], name  # type: ignore[index]
    if NGINX is None:
        pytest.skip("nginx IS NOT INSTALLED: the proxy's settings were not read by it")
    settings = tmp_path / "nginx.conf"
    local = proxy.replace("http://service:8000", "http://127.0.0.1:8000").replace("listen 80", "listen 127.0.0.1:8969")
    settings.write_text(
        f"pid {tmp_path}/pid;\nerror_log {tmp_path}/log;\nevents {{}}\nhttp {{\naccess_log off;\n{local}}}\n"
    )
    done = subprocess.run([NGINX, "-t", "-c", str(settings)], capture_output=True, text=True, timeout=30, check=False)
    assert done.returncode == 0, done.stderr
