-- What a week made lies in folders, which the schema `weeks` shows as views made by the program.
-- Tables of weeks that an older ringland wrote are carried over by pipelines/old_weeks.py.

create schema if not exists weeks;
