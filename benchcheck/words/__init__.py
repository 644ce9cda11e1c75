"""The words every other room speaks: contacts, bench states, steps, readings, verdicts, errors.

Nothing here knows how anything is measured, judged, stored or shown.
"""
