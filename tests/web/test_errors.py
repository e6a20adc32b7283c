"""What goes wrong gets a page that helps; every answer has its headers; the key that everybody knows serves nobody."""

from __future__ import annotations

import logging
import re
import subprocess
import sys

import pytest
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import ImproperlyConfigured
from django.db import DatabaseError, connection
from django.http import HttpResponse
from django.test import Client, override_settings
from django.urls import path
from django.views.decorators.csrf import csrf_exempt

from readiness.models import Role
from readiness.web import accounts, guards, middleware
from readiness.web.references import WithReference, new_reference

POLICY = {
    "default-src 'self'",
    "style-src 'self'",
    "script-src 'self'",
    "img-src 'self' data:",
    "frame-ancestors 'none'",
    "form-action 'self'",
    "base-uri 'none'",
}


@login_not_required
def broken(request):
    raise ZeroDivisionError("the valve is stuck")


@login_not_required
@csrf_exempt
def reading(request):
    return HttpResponse(len(request.POST))


urlpatterns = [*accounts.urlpatterns, path("broken/", broken), path("reading/", reading)]
handler400 = "readiness.web.errors.bad_request"
handler404 = "readiness.web.errors.not_found"
handler500 = "readiness.web.errors.server_error"
here_urls = override_settings(ROOT_URLCONF=__name__)


@pytest.fixture
def client() -> Client:
    return Client(raise_request_exception=False)


def refuses_every_query(execute, sql, params, many, context):
    raise DatabaseError("the database is down")


@here_urls
@pytest.mark.django_db
@pytest.mark.parametrize(
    ("address", "status"),
    [("/sign-in/", 200), ("/", 302), ("/nothing/", 404), ("/broken/", 500), ("/healthz", 200), ("/sign-out/", 405)],
)
def test_every_answer_has_its_headers(client, address, status):
    answer = client.get(address)
    assert answer.status_code == status
    assert set(answer["Content-Security-Policy"].split("; ")) >= POLICY
    assert "unsafe" not in answer["Content-Security-Policy"]
    assert (answer["X-Frame-Options"] if status != 500 else "DENY", answer["X-Content-Type-Options"]) == (
        "DENY",
        "nosniff",
    )
    assert answer["Cache-Control"] == "no-store" or "max-age=0" in answer["Cache-Control"]


@pytest.mark.django_db  # closing an answer looks after the connections
def test_static_files_have_the_policy_too(client):
    answer = client.get("/static/readiness/site.css")
    answer.close()
    assert (answer.status_code, answer["Content-Type"]) == (200, 'text/css; charset="utf-8"')
    assert set(answer["Content-Security-Policy"].split("; ")) >= POLICY
    assert "Access-Control-Allow-Origin" not in answer


@here_urls
def test_a_failure_shows_a_reference_that_the_log_holds_and_asks_no_database(client, caplog):
    # No django_db mark: any query at all would raise here.
    answer = client.get("/broken/")
    assert answer.status_code == 500
    page = answer.content.decode()
    reference = re.search(r'class="reference">([2-9A-Z]{4}-[2-9A-Z]{4})<', page)[1]
    logged = next(record for record in caplog.records if record.exc_info)
    assert "the valve is stuck" in str(logged.exc_info[1])
    assert WithReference().filter(logged)
    assert logged.reference == reference
    assert "valve" not in page


@pytest.mark.django_db
def test_a_database_that_is_down_gives_the_same_page(cast, as_role):
    browser = as_role(Role.CHIEF)
    browser.raise_request_exception = False
    with connection.execute_wrapper(refuses_every_query):
        answer = browser.get("/account/")
    assert answer.status_code == 500
    assert "the log holds what happened" in answer.content.decode()


@pytest.mark.django_db
def test_health_says_when_the_database_is_down(cast, as_role):
    browser = as_role(Role.CREW)
    assert (browser.get("/healthz").status_code, browser.get("/healthz").json()) == (200, {"healthy": True})
    with connection.execute_wrapper(refuses_every_query):
        answer = browser.get("/healthz")
    assert answer.status_code == 503
    assert answer.json()["sentence"].startswith("The database does not answer.")


def test_the_page_of_a_failure_needs_no_manifest(client, settings, tmp_path):
    settings.STATIC_ROOT = tmp_path
    settings.STORAGES = {
        **settings.STORAGES,
        "staticfiles": {"BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"},
    }
    with override_settings(ROOT_URLCONF=__name__):
        answer = client.get("/broken/")
    assert "Something broke on our side" in answer.content.decode()


def test_references_differ_and_can_be_read_out():
    minted = {new_reference() for _ in range(200)}
    assert len(minted) == 200
    assert not any(letter in "01ILOU" for reference in minted for letter in reference)


def test_an_upload_that_is_too_large_is_refused_before_it_is_read(client):
    limit = middleware.MOST_REQUEST_BYTES
    assert limit == 21_000_000, "20 MB for a workbook and 1 MB for the form around it"
    answer = client.post("/sign-in/", b"", content_type="text/plain", CONTENT_LENGTH=str(limit + 1))
    assert answer.status_code == 413
    assert "21.0 MB were sent; at most 20 MB are taken" in answer.content.decode()


@here_urls
def test_a_form_that_is_too_large_gets_the_same_page(client, settings):
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 100
    answer = client.post("/reading/", {"words": "x" * 200})
    assert answer.status_code == 413
    assert "at most 20 MB" in answer.content.decode()


def test_a_length_that_is_no_number_is_not_believed(rf):
    request = rf.get("/")
    request.META["CONTENT_LENGTH"] = "many"
    assert middleware.UploadLimit(lambda _: HttpResponse("read"))(request).content == b"read"


@pytest.mark.django_db
def test_a_page_that_is_too_old_says_so_in_plain_words():
    answer = Client(enforce_csrf_checks=True).post("/sign-in/", {"name": "x", "password": "y"})
    assert answer.status_code == 403
    said = answer.content.decode()
    assert "This page was too old to send" in said
    assert "CSRF" not in said


def test_a_foreign_host_name_is_not_served(client):
    answer = client.get("/sign-in/", HTTP_HOST="elsewhere.example")
    assert answer.status_code == 400
    assert "This could not be understood" in answer.content.decode()


@pytest.mark.django_db
def test_what_is_not_there_has_a_page_with_a_way_on(cast, as_role):
    answer = as_role(Role.CREW).get("/nothing/")
    assert answer.status_code == 404
    assert "There is no such page here" in answer.content.decode()
    assert 'href="/account/"' in answer.content.decode(), "with the frame around it"


# The key


def test_the_demos_key_serves_this_machine_only(settings, rf):
    settings.SECRET_KEY, settings.ALLOWED_HOSTS = guards.DEMO_KEY, ["localhost", "127.0.0.1", "testserver"]
    assert guards.check_key(None) == []
    settings.ALLOWED_HOSTS = ["localhost", "foam.quay.example"]
    (error,) = guards.check_key(None)
    assert "ALLOWED_HOSTS names foam.quay.example" in error.msg
    assert error.is_serious()
    with pytest.raises(ImproperlyConfigured, match="Set SECRET_KEY"):
        middleware.Headers(lambda _: HttpResponse())
    settings.SECRET_KEY = "a long random text of our own"
    assert guards.check_key(None) == []


@pytest.mark.parametrize(
    "code",
    [
        "import readiness.wsgi",
        "from django.core.management import call_command as c; import django; django.setup(); c('check')",
    ],
)
def test_neither_server_nor_command_starts_with_it(code, tmp_path):
    environment = {"ALLOWED_HOSTS": "foam.quay.example", "DJANGO_SETTINGS_MODULE": "readiness.settings"}
    environment["DATABASE_URL"] = f"sqlite:///{tmp_path / 'none.sqlite3'}"
    done = subprocess.run([sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=False)
    assert done.returncode != 0
    assert "SECRET_KEY is the demo's, which everybody can read" in done.stderr


@pytest.mark.parametrize("https", [True, False])
def test_https_makes_cookies_secure(https, tmp_path):
    code = (
        "from readiness import settings as s; print(s.SESSION_COOKIE_SECURE, s.CSRF_COOKIE_SECURE, "
        "s.SECURE_SSL_REDIRECT, s.SECURE_HSTS_SECONDS > 0, s.SECURE_PROXY_SSL_HEADER is not None)"
    )
    environment = {"HTTPS": "on", "PROXIES": "1"} if https else {}
    done = subprocess.run([sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True)
    assert done.stdout.split() == [str(https)] * 5


def test_lines_of_the_log_without_a_request_have_a_dash():
    record = logging.LogRecord("x", logging.ERROR, "", 0, "words", None, None)
    assert WithReference().filter(record)
    assert record.reference == "-"
