package main

// openUp does nothing: rights are inherited from the folder here.
func openUp() func() { return func() {} }
