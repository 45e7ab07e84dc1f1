-- Files that could not be read as what their name says, so that each is named until it is mended.

create table if not exists shop_records.refused (
    kind varchar not null,
    file_name varchar not null,
    content_sha256 varchar,
    fault varchar not null,
    remedy varchar not null
);
comment on table shop_records.refused is 'One row per record file of which nothing could be loaded; it goes when a file of its name loads.';
comment on column shop_records.refused.fault is 'why, with the place in the file';
comment on column shop_records.refused.remedy is 'what to do';
