"""From an executed notebook to HTML and PDF, formulas among them."""
