"""Steps from a logger's text file to a curve; `curve_files` is the door to them.

`bounded` (at most so many bytes of a regular file), `text_files` (bytes to lines), `packed_lines`
(millions of them), `text_rows` (lines to cells),
`text_header` and `text_tables` (named columns), `cell_values`, `clock_times`, `units` and
`column_names` (what they mean), `column_choice` (which to use), `assembly` and `checks` (the curve,
and why there is none). The other way: `outputs` (the one writer of every file that this program
makes) and `plain_curves`.
"""
