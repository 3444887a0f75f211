"""The compose file and the image, as far as they can be looked at without an engine that runs them."""

import re
from pathlib import Path

import pytest
import yaml

DEPLOY = Path(__file__).resolve().parents[2] / "deploy"
COMPOSE = yaml.safe_load((DEPLOY / "compose.yaml").read_text(encoding="utf-8"))
SERVICES = COMPOSE["services"]
MADE_FIRST = {"./broker", "./broker/ca.pem", "./home/wallclime.toml"}  # by the lines at the head of the file


def test_the_services_are_the_broker_the_store_and_the_daemon():
    assert [name for name, service in SERVICES.items() if "profiles" not in service] == ["broker", "store", "wallclime"]
    assert SERVICES["wallclime"]["depends_on"].keys() == {"store", "broker"}


def test_several_daemons_instead_of_the_one_are_it_but_for_their_parts():
    several = {name: service for name, service in SERVICES.items() if service.get("profiles") == ["several"]}
    assert {name: service["command"] for name, service in several.items()} == {
        "intake-north": ["serve", "--role", "intake", "--share", "north"],
        "judge": ["serve", "--role", "judge"],
        "schedule": ["serve", "--role", "schedule"],
    }
    for service in several.values():
        assert {key: service[key] for key in service.keys() - {"profiles", "command"}} == SERVICES["wallclime"]


def test_every_file_that_is_mounted_is_shipped_or_told_to_be_made():
    mounts = {mount.split(":")[0] for service in SERVICES.values() for mount in service.get("volumes", ())}
    files = {mount for mount in mounts if mount.startswith(".")}
    assert {mount for mount in files if not (DEPLOY / mount).exists()} <= MADE_FIRST
    assert mounts - files == COMPOSE["volumes"].keys()


def test_every_secret_is_a_file_and_no_password_stands_in_the_file():
    named = {secret for service in SERVICES.values() for secret in service.get("secrets", ())}
    assert named == COMPOSE["secrets"].keys()
    assert all(list(secret) == ["file"] for secret in COMPOSE["secrets"].values())
    environment = [line for service in SERVICES.values() for line in service.get("environment", {})]
    assert [name for name in environment if "PASSWORD" in name] == ["POSTGRES_PASSWORD_FILE"]


def test_only_the_broker_has_a_port_and_it_speaks_tls():
    assert {name: service["ports"] for name, service in SERVICES.items() if "ports" in service} == {
        "broker": ["8883:8883"]
    }


@pytest.mark.parametrize("name", SERVICES)
def test_no_service_can_gain_rights(name):
    assert SERVICES[name]["security_opt"] == ["no-new-privileges:true"]
    assert "privileged" not in SERVICES[name]


def test_the_image_installs_by_hash_and_runs_without_rights():
    lines = (DEPLOY / "Dockerfile").read_text(encoding="utf-8").splitlines()
    assert "RUN pip install --no-cache-dir --require-hashes -r /tmp/requirements.txt" in lines
    assert lines.index("USER wallclime") < lines.index('ENTRYPOINT ["wallclime"]')
    copied = [line.split()[1:-1] for line in lines if line.startswith("COPY")]
    assert all((DEPLOY.parent / one).exists() for names in copied for one in names)
    user = re.search(r"--uid (\d+)", "\n".join(lines))[1]
    assert f"owner {user}" in (DEPLOY / "compose.yaml").read_text(encoding="utf-8")
