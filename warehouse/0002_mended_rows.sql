-- Rows that were set aside and mended since, and the mapping each file was read with.

create table shop_records.files_with_mended (
    kind varchar not null,
    file_name varchar not null,
    content_sha256 varchar not null,
    rows_in bigint not null,
    rows_new bigint not null,
    rows_already_there bigint not null,
    rows_set_aside bigint not null,
    notes varchar not null,
    rows_mended bigint not null default 0,
    mapping_sha256 varchar,
    unique (kind, content_sha256),
    check (rows_in = rows_new + rows_already_there + rows_set_aside + rows_mended)
);
insert into shop_records.files_with_mended by name from shop_records.files;
drop table shop_records.files;
alter table shop_records.files_with_mended rename to files;
comment on table shop_records.files is 'One row per record file taken in; rows in = new + already there + set aside + mended.';
comment on column shop_records.files.kind is 'record kind, told by how the file name begins or by its mapping';
comment on column shop_records.files.file_name is 'name of the file as it was dropped';
comment on column shop_records.files.content_sha256 is 'SHA-256 of its bytes; the raw copy bears this name';
comment on column shop_records.files.rows_in is 'data rows in the file';
comment on column shop_records.files.rows_new is 'rows this file brought that were not there before';
comment on column shop_records.files.rows_already_there is 'rows loaded from an earlier file, the same in every field';
comment on column shop_records.files.rows_set_aside is 'rows not loaded; each stands in shop_records.set_aside with its reasons';
comment on column shop_records.files.notes is 'columns missing or not known, in words';
comment on column shop_records.files.rows_mended is 'rows once set aside that came back mended in another file, or were left out on purpose';
comment on column shop_records.files.mapping_sha256 is 'SHA-256 of the mapping it was read with; null: none';

create table shop_records.mended (
    kind varchar not null,
    raw_row varchar not null,
    decision varchar not null check (decision in ('replaced', 'left out')),
    in_sha256 varchar not null
);
comment on table shop_records.mended is 'One row per set-aside row that was mended or left out on purpose.';
comment on column shop_records.mended.raw_row is 'the row as it was set aside';
comment on column shop_records.mended.decision is 'replaced by a mended row, or left out on purpose';
comment on column shop_records.mended.in_sha256 is 'the workbook that mended it';
