"""Mixed models of choices: listeners and strikes as samples."""
