package series

import "os"

// long says whether the slow tests run at full length.
func long() bool { return os.Getenv("ECLOSE_LONG") == "1" }
