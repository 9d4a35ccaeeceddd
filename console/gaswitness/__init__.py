"""The command line, and the files that people read. No wire, no judgement, no panel logic."""
