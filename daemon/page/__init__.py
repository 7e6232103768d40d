"""The page in the browser: the bench as it stands, and what people do to it, served beside the watching."""
