"""Many operators' weeks: where their files lie, where they are worked out, and the commands."""
