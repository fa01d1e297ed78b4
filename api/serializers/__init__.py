"""The shapes of what comes in and goes out, one module a resource."""
