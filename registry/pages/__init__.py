"""The web pages and their pictures: plain HTML that asks for no script and nothing from elsewhere."""
