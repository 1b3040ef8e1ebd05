"""Paper and pictures for whoever needs them: templates as self-contained pages, a page as a PDF, simple SVG."""
