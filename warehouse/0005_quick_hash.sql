-- A second hash of each file, to tell sooner that it was loaded before.  It once bore the number
-- of another script, so a warehouse made between the two may have it or lack it.

alter table shop_records.files add column if not exists content_blake3 varchar;
comment on column shop_records.files.content_blake3 is 'BLAKE3 hash of its bytes, to recognise it by; null: not asked for since it was loaded';
