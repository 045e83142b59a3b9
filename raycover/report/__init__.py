"""Reports: everything about a scene solved once, told in one content, written as HTML and as PDF."""
