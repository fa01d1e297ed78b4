"""Django's PostgreSQL backend on the embedded database: whoever connects starts it or joins it."""
