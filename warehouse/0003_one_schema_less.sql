-- Once made a schema for weekly tables, which lie in folders now (0006); it keeps its number.

select 1;
