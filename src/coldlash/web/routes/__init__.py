"""The pages, one module per subject. Each has ``routes(pages)``; ``create_app`` hangs them in."""
