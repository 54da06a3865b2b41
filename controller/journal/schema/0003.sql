-- What a record needs beside the figures: which gates were open, the reading as it was written down, and whether
-- later tests are held against it.
ALTER TABLE records ADD COLUMN open TEXT NOT NULL DEFAULT '';
ALTER TABLE records ADD COLUMN reading TEXT NOT NULL DEFAULT '';
ALTER TABLE records ADD COLUMN commissioning INTEGER NOT NULL DEFAULT 0;
CREATE INDEX records_by_test ON records (test);
