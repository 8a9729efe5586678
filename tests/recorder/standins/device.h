/* Stands in for the header of a part's registers, so that what is written for one compiles here: the names of CMSIS,
 * and of the older UARTs, or with UART_HAS_TDR of the newer ones. */
#ifndef DEVICE_H
#define DEVICE_H

#include <stdint.h>

typedef struct {
#ifdef UART_HAS_TDR
    volatile uint32_t CR1, CR2, CR3, BRR, ISR, ICR, RDR, TDR;
#else
    volatile uint32_t SR, DR, BRR, CR1, CR2, CR3;
#endif
} USART_TypeDef;
typedef struct {
    volatile uint32_t CNT;
} TIM_TypeDef;

extern USART_TypeDef usart2;
#define USART2 (&usart2)
#define TIM2 ((TIM_TypeDef *)0x40000000u)
#ifdef UART_HAS_TDR
#define USART_ISR_TXE (1u << 7)
#else
#define USART_SR_TXE (1u << 7)
#endif
#define USART_CR1_TXEIE (1u << 7)

#ifdef __arm__
static inline uint32_t __get_PRIMASK(void)
{
    uint32_t was;
    __asm volatile("mrs %0, primask" : "=r"(was));
    return was;
}
static inline void __set_PRIMASK(uint32_t was) { __asm volatile("msr primask, %0" ::"r"(was) : "memory"); }
static inline void __disable_irq(void) { __asm volatile("cpsid i" ::: "memory"); }
#else
static inline uint32_t __get_PRIMASK(void) { return 0; }
static inline void __set_PRIMASK(uint32_t was) { (void)was; }
static inline void __disable_irq(void) {}
#endif

void USART2_IRQHandler(void);

#endif
