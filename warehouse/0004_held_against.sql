-- What the rows of each file were held against, to tell whether it is worth trying them again.

alter table shop_records.files add column held_against varchar;
comment on column shop_records.files.held_against is 'hash of the ids and dock clocks on record when it was last loaded, and of the program; null: not noted';
