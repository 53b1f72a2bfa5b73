"""What a paper is written from: figures at the width of a column, tables, captions, methods, references, checklists."""
