"""Answers as they are served: kept, made again, and of parts made ahead."""
