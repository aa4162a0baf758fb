"""Django's SQLite backend, told how many values one statement may carry.

Django assumes 999, the limit of SQLite before 3.32 (2020); since then it is 32,766
(https://www.sqlite.org/limits.html §9). With 999 the number of statements in a cutting
session would grow with its frags.
"""

from django.db.backends.sqlite3 import base, features


class DatabaseFeatures(features.DatabaseFeatures):
    minimum_database_version = (3, 32)
    max_query_params = 32_766


class DatabaseWrapper(base.DatabaseWrapper):
    features_class = DatabaseFeatures
