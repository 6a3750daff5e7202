"""What every page is made of: figures and tables with their words, numbers and links, labels, the glossary."""
