package flow

var pooled = vague()
