"""What a person changes on a mask: edits with undo, figures that follow, and what was changed by hand."""
