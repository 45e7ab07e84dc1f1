-- The records have one schema.  Their tables are made from their contracts in
-- src/ringland/contracts, so that a column is declared once; here stand the schema and the
-- tables of book-keeping that no contract covers.

create schema shop_records;

create table shop_records.files (
    kind varchar not null,
    file_name varchar not null,
    content_sha256 varchar not null,
    rows_in bigint not null,
    rows_new bigint not null,
    rows_already_there bigint not null,
    rows_set_aside bigint not null,
    notes varchar not null,
    unique (kind, content_sha256),
    check (rows_in = rows_new + rows_already_there + rows_set_aside)
);
comment on table shop_records.files is 'One row per record file taken in; rows in = new + already there + set aside.';
comment on column shop_records.files.kind is 'record kind, told by how the file name begins';
comment on column shop_records.files.file_name is 'name of the file as it was dropped';
comment on column shop_records.files.content_sha256 is 'SHA-256 of its bytes; the raw copy bears this name';
comment on column shop_records.files.rows_in is 'data rows in the file';
comment on column shop_records.files.rows_new is 'rows this file brought that were not there before';
comment on column shop_records.files.rows_already_there is 'rows loaded from an earlier file, the same in every field';
comment on column shop_records.files.rows_set_aside is 'rows not loaded; each stands in shop_records.set_aside with its reasons';
comment on column shop_records.files.notes is 'columns missing or not known, in words';
