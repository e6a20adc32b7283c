#!/usr/bin/env python3
"""The command door. On a machine with nothing but Python it first makes its own environment in .venv."""

# Plain syntax on purpose: an old Python must be able to read this far and say what it lacks.
import os
import sys

if sys.version_info < (3, 11):  # noqa: UP036 - an older Python is exactly whom this sentence is for
    sys.stderr.write("Foam Readiness needs Python 3.11 or newer; this is Python " + sys.version.split()[0] + ".\n")
    sys.exit(2)

if __name__ == "__main__":
    from readiness import bootstrap

    bootstrap.prepare(sys.argv)  # comes back only inside an environment that holds the packages
    if sys.argv[1:2] == ["test"]:
        bootstrap.run_tests(sys.argv[2:])

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "readiness.settings")
    if sys.argv[1:2] == ["version"]:  # Django keeps this word for its own version; here it is the product's
        import django
        from django.core.management import ManagementUtility

        django.setup()
        ManagementUtility(sys.argv).fetch_command("version").run_from_argv(sys.argv)
    else:
        from django.core.management import execute_from_command_line

        execute_from_command_line(sys.argv)
